/* The page: which form is shown, saving, what waits, and what the page can do without a connection. */
"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const forms = [...document.querySelectorAll("form.log")];
  if (!forms.length) return;
  const SLOW = 3000;
  const made = (tag, words = "", more = {}) => Object.assign(document.createElement(tag), { textContent: words }, more);
  const form = (kind) => forms.find((one) => one.id === kind);
  let last = null, dropping = null, opensAlone = null;

  /* ---- which form ---- */
  const address = (kind) => {
    const given = Form.texts(form(kind));
    const asked = new URLSearchParams({ what: kind });
    if (given.pack) asked.set("pack", given.pack);
    if (given.vehicle) asked.set("vehicle", given.vehicle);
    return `/log?${asked}`;
  };

  const current = () => forms.find((one) => !one.hidden);

  const choose = (kind) => {
    const from = current(), to = form(kind);
    for (const one of forms) one.hidden = one !== to;
    if (from !== to && from.elements.pack.value) {
      to.elements.pack.value = from.elements.pack.value;
      Form.set(to, "readings", Form.texts(from).readings);
      Form.fitCells(to);
    }
    for (const tab of document.querySelectorAll(".tabs a"))
      tab.dataset.kind === kind ? tab.setAttribute("aria-current", "true") : tab.removeAttribute("aria-current");
    byId("heading").textContent = to.dataset.title;
    document.title = `${to.dataset.title} · Pack tracker`;
  };

  /* The page may come from the phone's own memory, drawn for another visit. */
  const arrive = () => {
    const asked = new URLSearchParams(location.search);
    if (document.querySelector(".problem:not(:empty)") || byId("notice").textContent) return forms.forEach(Form.fitCells);
    for (const one of forms) {
      for (const name of ["pack", "vehicle", "readings"]) {
        const wanted = asked.get(name) ?? Form.remembered(name);
        if (wanted) Form.set(one, name, wanted);
      }
      if (!one.elements.pack.value) one.elements.pack.value = "";
      Form.fitCells(one);
    }
    if (asked.get("what") === "charge" || asked.get("what") === "run") choose(asked.get("what"));
  };

  for (const tab of document.querySelectorAll(".tabs a"))
    tab.addEventListener("click", (event) => {
      event.preventDefault();
      choose(tab.dataset.kind);
      history.pushState(null, "", address(tab.dataset.kind));
    });
  window.addEventListener("popstate", () => choose(new URLSearchParams(location.search).get("what") === "charge" ? "charge" : "run"));

  /* ---- saving ---- */
  const notice = (html) => {
    byId("notice").innerHTML = html;
    delete byId("notice").dataset.entry;
    byId("work").hidden = Boolean(html);
    if (!html) return;
    window.scrollTo(0, 0);
    (byId("notice").querySelector("[tabindex]") || byId("notice")).focus({ preventScroll: true });
  };

  const keptNotice = (entry) => {
    // Asked only now that there is something to lose: some browsers put a question to the person.
    navigator.storage?.persist?.();
    notice('<div class="saved"><h2 tabindex="-1">Kept on this phone</h2><p></p><a class="button main" data-another href="/log">Log another</a></div>');
    const why = Queue.state.signedOut ? "Sign in, and it is handed over." : "It is handed over as soon as the program can be reached.";
    const said = byId("notice").querySelector("p");
    said.append(made("bdi", wordsOf(entry)), `. ${why}`);
    byId("notice").dataset.entry = entry.id;
    if (Queue.state.signedOut) said.after(made("a", "Sign in", { href: "/sign-in?next=/log", className: "button" }));
  };

  const another = () => {
    notice("");
    const shown = current();
    Form.clear(shown);
    const empty = [...shown.querySelectorAll(".first select, .first input[type=text]")].find((box) => box.offsetParent && !box.value);
    empty?.focus();
  };

  const save = async (shown) => {
    const held = Queue.state.holding && last?.id === Queue.state.holding && last.kind === shown.id ? last : null;
    const entry = {
      id: held?.id || Queue.newId(), kind: shown.id, at: held?.at || new Date().toISOString(), texts: Form.texts(shown), state: "waiting",
    };
    Form.still();
    Form.remember(shown);
    let kept = true;
    try {
      await Store.put(entry);
    } catch {
      kept = false;
    }
    last = entry;
    Queue.state.holding = entry.id;
    const button = shown.querySelector(".save");
    button.setAttribute("aria-disabled", "true");
    const sent = kept ? Queue.deliver(entry) : Queue.ask(`/log/entries/${entry.id}`, Queue.json("PUT", entry));
    const slow = new Promise((resolve) => kept && setTimeout(resolve, SLOW, { status: 0, body: {} }));
    const { status, body } = await Promise.race([sent, slow]);
    button.removeAttribute("aria-disabled");
    if (status === 422 && body.problems) {
      const stray = Object.entries(body.problems).filter(([name]) => !Form.find(shown, name));
      shown.querySelector(".stray").textContent = stray.map(([, words]) => words).join(" ");
      Form.problems(shown, body.problems)?.focus();
      if (!Form.typed(entry.texts)) await Store.drop(entry.id);
      return draw();
    }
    if (!kept && status !== 200 && status !== 201) {
      shown.querySelector(".stray").textContent = `Not saved. ${body.words || "The program cannot be reached, and this browser keeps nothing."}`;
      return draw();
    }
    Queue.state.holding = null;
    if (status === 200 || status === 201) notice(body.html);
    else if (Queue.isFinal(status)) {
      shown.querySelector(".stray").textContent = body.words || "The program did not take this entry.";
      Queue.state.holding = entry.id;
    } else {
      keptNotice(entry);
      Queue.later();
      // A slow answer may still come.
      sent.then((late) => late.status >= 200 && late.status < 300 && byId("notice").dataset.entry === entry.id && notice(late.body.html));
    }
    return draw();
  };

  for (const one of forms) {
    let saving = false;
    one.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (saving) return;
      saving = true;
      try {
        await save(one);
      } finally {
        saving = false;
      }
    });
    one.addEventListener("keydown", Form.onEnter);
    one.addEventListener("input", () => Form.soon(one));
    one.addEventListener("change", (event) => {
      if (event.target.name === "pack" || event.target.name === "readings") Form.fitCells(one);
      if (event.target.name === "pack" || event.target.name === "vehicle") history.replaceState(null, "", address(one.id));
      Form.soon(one);
    });
    one.addEventListener("focusout", () => Form.soon(one));
  }

  byId("notice").addEventListener("click", (event) => {
    if (!event.target.closest("[data-another]")) return;
    event.preventDefault();
    another();
  });
  byId("notice").addEventListener("submit", async (event) => {
    event.preventDefault();
    event.target.querySelector(".problem")?.remove();
    const { status, body } = await Queue.ask("/log/undo", { method: "POST", body: new URLSearchParams(new FormData(event.target)) });
    if (status === 200) {
      notice(body.html);
      byId("work").hidden = false;
      // What was typed stands there again, to be put right.
      if (last) {
        choose(last.kind);
        Form.fill(form(last.kind), last.texts);
        Form.soon(form(last.kind));
      }
    } else event.target.append(made("p", body.words || "Not undone: the program cannot be reached. Try again later.", { className: "problem", role: "alert" }));
  });

  /* ---- what waits ---- */
  const wordsOf = ({ kind, texts }) => {
    const amount = kind === "run" ? texts.run_min && `${texts.run_min} min` : texts.put_back_mah && `${texts.put_back_mah} mAh`;
    return [kind === "run" ? "Run" : "Charge", texts.pack, amount].filter(Boolean).join(", ");
  };
  const stateOf = (entry) => {
    if (entry.id === Queue.state.holding) return "Stands in the form above, to be corrected and saved.";
    if (entry.state === "waiting") return Queue.state.signedOut ? "Waits until you sign in." : "Waits until the program can be reached.";
    return entry.said;
  };

  const correct = (entry) => {
    last = entry;
    Queue.state.holding = entry.id;
    notice("");
    choose(entry.kind);
    Form.fill(form(entry.kind), entry.texts);
    const first = Form.problems(form(entry.kind), entry.problems || {});
    (first || form(entry.kind).elements.pack).focus();
    Form.soon(form(entry.kind));
    draw();
  };

  const drop = async (entry) => {
    await Store.drop(entry.id);
    if (Queue.state.holding === entry.id) Queue.state.holding = null;
    Queue.changed();
    byId("waiting-head").focus();
  };

  const row = (entry) => {
    const item = made("li");
    const said = made("p", stateOf(entry), { className: entry.state === "waiting" || entry.id === Queue.state.holding ? "" : "problem" });
    const at = new Date(entry.at).toLocaleString([], { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
    const head = made("p", "", { className: "strong" });
    head.append(made("bdi", wordsOf(entry)), made("span", at, { className: "quiet" }));
    const buttons = made("div", "", { className: "after" });
    const button = (words, act) => buttons.append(made("button", words, { type: "button", onclick: act }));
    if (dropping === entry.id) {
      buttons.append(made("p", "Drop it for good? It is not in the logbook."));
      button("Drop it", () => drop(entry));
      button("Keep it", () => { dropping = null; draw(); });
    } else {
      if (entry.id !== Queue.state.holding) button("Correct", () => correct(entry));
      button("Drop", async () => { dropping = entry.id; await draw(); byId(`entry-${entry.id}`)?.querySelector("button").focus(); });
    }
    item.id = `entry-${entry.id}`;
    item.append(head, said, buttons);
    return item;
  };

  const linkWords = (count) => {
    const away = Queue.state.signedOut ? "Signed out" : Queue.state.reached === false ? "No connection" : "";
    return [away, count ? `${count} kept here` : ""].filter(Boolean).join(", ");
  };

  let drawn = "";
  const draw = async () => {
    let entries = [];
    try {
      entries = await Store.all();
    } catch {
      opensAlone = opensAlone ?? false;
    }
    const link = byId("link"), words = linkWords(entries.length);
    if (link.dataset.words !== words) {
      link.dataset.words = words;
      link.replaceChildren(entries.length ? made("a", words, { href: "#waiting" }) : words);
    }
    const now = JSON.stringify([entries, dropping, Queue.state.holding, Queue.state.signedOut]);
    if (now !== drawn) {
      drawn = now;
      byId("entries").replaceChildren(...entries.map(row));
      byId("waiting").hidden = !entries.length;
      byId("sign-in").hidden = !Queue.state.signedOut;
    }
  };

  /* ---- without a connection ---- */
  const aloneWords = () => {
    if (!("indexedDB" in window)) return "This browser keeps nothing, so entries can only be saved while the program can be reached.";
    const keeps = "While this page stays open, what you save without a connection is kept on the phone and handed over later.";
    if (opensAlone) return `${keeps} The page also opens anew without a connection, and can be put on the home screen.`;
    const why = window.isSecureContext ? "the browser has not kept it" : "it was opened over plain http; opened over https it could be";
    return `${keeps} It cannot be opened anew while the program is away: ${why}.`;
  };

  const keepPage = async () => {
    if (window.isSecureContext && "serviceWorker" in navigator) {
      try {
        await navigator.serviceWorker.register("/log/worker.js", { scope: "/log" });
        await navigator.serviceWorker.ready;
        opensAlone = true;
      } catch {
        opensAlone = false;
      }
    }
    byId("away-words").textContent = aloneWords();
  };

  Queue.onChange(draw);
  arrive();
  draw();
  Queue.atOnce();
  if (navigator.onLine === false) Queue.state.reached = false;
  if (navigator.serviceWorker?.controller) Queue.ask("/healthz", { cache: "no-store" }).then(draw);
  if (document.readyState === "complete") keepPage();
  else window.addEventListener("load", keepPage);
})();
