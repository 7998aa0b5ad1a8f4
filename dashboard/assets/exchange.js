/* Fields to choose files with, a word before too much is sent, and long work watched until it has ended. */
(() => {
  const EVERY_MS = 700;
  const fill = (slot) => {
    const field = document.createElement("input");
    field.type = "file";
    field.name = slot.dataset.choose;
    field.id = slot.dataset.field;
    field.multiple = slot.dataset.several === "yes";
    field.required = true;
    if (slot.dataset.hint) field.setAttribute("aria-describedby", slot.dataset.hint);
    slot.replaceChildren(field);
  };
  const say = (form, kind, words) => {
    const place = form.querySelector(kind);
    if (place) place.textContent = words;
  };
  const mebibytes = (bytes) => Math.ceil(bytes / 1048576).toLocaleString("en");

  document.addEventListener("submit", (event) => {
    const form = event.target.closest?.("form.send");
    if (!form) return;
    const bytes = [...form.querySelectorAll("input[type=file]")].flatMap((field) => [...field.files]).reduce((sum, file) => sum + file.size, 0);
    const most = Number(form.dataset.most);
    if (bytes > most) {
      event.preventDefault();
      say(form, ".problem", `These are ${mebibytes(bytes)} MiB together; up to ${mebibytes(most)} MiB are taken at a time. Choose fewer or smaller files. Nothing was sent.`);
      form.querySelector("input[type=file]")?.focus();
      return;
    }
    say(form, ".problem", "");
    say(form, ".sending", "Being sent and looked at…");
  });
  document.addEventListener("change", (event) => {
    const form = event.target.closest?.("form.send");
    if (form) say(form, ".problem", "");
  });
  /* Come back to from the next page: nothing is being sent any more. */
  window.addEventListener("pageshow", () => document.querySelectorAll("form.send").forEach((form) => say(form, ".sending", "")));

  const watching = new WeakSet();
  const watch = async (panel) => {
    if (watching.has(panel)) return;
    watching.add(panel);
    const bar = panel.querySelector("progress");
    const words = panel.querySelector(".job-words");
    while (panel.isConnected) {
      try {
        const told = await (await fetch(panel.dataset.job, { cache: "no-store" })).json();
        if (!["waiting", "running"].includes(told.state)) {
          location.reload();
          return;
        }
        panel.querySelector(".problem").textContent = "";
        const done = Number(told.done).toLocaleString("en");
        const total = told.total ? ` of ${Number(told.total).toLocaleString("en")}` : "";
        words.textContent = told.state === "waiting" ? "Waiting for other work to end." : told.label ? `${told.label[0].toUpperCase()}${told.label.slice(1)}: ${done}${total}` : "Begun…";
        if (told.total) {
          bar.max = told.total;
          bar.value = Math.min(told.done, told.total);
        } else bar.removeAttribute("value");
      } catch {
        panel.querySelector(".problem").textContent = "The program cannot be reached just now.";
      }
      await new Promise((later) => setTimeout(later, EVERY_MS));
    }
  };
  const look = () => {
    document.querySelectorAll("[data-choose]:empty").forEach(fill);
    document.querySelectorAll("[data-job]").forEach(watch);
  };
  new MutationObserver(look).observe(document, { subtree: true, childList: true });
  document.addEventListener("DOMContentLoaded", look);
})();
