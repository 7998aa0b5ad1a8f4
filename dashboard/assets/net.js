/* Gives Dash the answers that came with the document, and says when the program cannot be reached: without this a page would go on showing old numbers as if they were true. */
(() => {
  const plainFetch = window.fetch;
  const words = {
    401: "You are signed out. Open this page again to sign in.",
    403: "The program refused this request. Nothing was saved.",
    413: "That is too large to be taken. Nothing was saved.",
  };
  let timer = null;

  /* What Dash asks for first stands in the document; each is taken once, and the page only if it is the one this document is of. */
  const here = location.pathname + location.search;
  const taken = (name) => {
    const block = document.getElementById(name);
    block?.remove();
    return block && new Response(block.textContent, { headers: { "Content-Type": "application/json" } });
  };
  const atOnce = (address, options) => {
    if (address.endsWith("/_dash-layout")) return taken("first-layout");
    if (address.endsWith("/_dash-dependencies")) return taken("first-dependencies");
    if (!address.endsWith("/_dash-update-component") || !document.getElementById("first-answer")) return null;
    const asked = JSON.parse(options.body);
    if (asked.output !== ".._pages_content.children..._pages_store.data..") return null;
    const answer = taken("first-answer");
    return asked.inputs.map((input) => input.value).join("") === here ? answer : null;
  };

  const say = (text) => {
    const bar = document.getElementById("link-lost");
    if (!bar || bar.textContent === text) return;
    bar.textContent = text;
    bar.hidden = !text;
  };

  const watch = () => {
    if (timer) return;
    timer = setInterval(async () => {
      try {
        const answer = await plainFetch("/healthz", { cache: "no-store" });
        if (!answer.ok) return;
        clearInterval(timer);
        timer = null;
        say("The program can be reached again. Open the page anew to see the latest.");
      } catch {
        /* still away: the bar already says so */
      }
    }, 4000);
  };

  window.fetch = async (...request) => {
    const address = String(request[0]?.url || request[0]);
    const ours = address.includes("/_dash-");
    const answer = ours && atOnce(address.split("?")[0], request[1]);
    if (answer) return answer;
    try {
      const answer = await plainFetch(...request);
      if (ours) say(answer.ok ? "" : words[answer.status] || "The program could not do this. Nothing was saved.");
      return answer;
    } catch (error) {
      if (ours) {
        say("The program cannot be reached. What is shown may be old, and nothing new was saved.");
        watch();
      }
      throw error;
    }
  };
})();
