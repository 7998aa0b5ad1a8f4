/* The two forms: what stands in them, what is wrong with it, and what it would show. */
"use strict";
const Form = (() => {
  const AFTER_TYPING = 350;
  const REMEMBERED = { pack: "log_pack", vehicle: "log_vehicle", readings: "log_readings" };
  const find = (form, name) => form.querySelector(`[data-field="${name}"]`);
  /* What lies in a closed fold still has a place in the page, but nobody sees it. */
  const seen = (box) => box.offsetParent && !box.closest("details:not([open])");
  const boxesIn = (field) => [...field.querySelectorAll("input, select, textarea")].filter((box) => box.offsetParent || box.type === "radio");

  /* What stands in a form, by field; times with their offset, for the phone's zone need not be the program's. */
  const texts = (form) => {
    const found = {};
    for (const [name, text] of new FormData(form)) if (name !== "entry_id" && name !== "kind") found[name] = text;
    for (const box of form.querySelectorAll("[type=datetime-local]"))
      if (box.value) found[box.name] = new Date(box.value).toISOString();
    return found;
  };

  /* As many boxes as the chosen pack has cells. */
  const fitCells = (form) => {
    form.dataset.readings = form.elements.readings.value;
    const count = Number(form.elements.pack.selectedOptions[0]?.dataset.series || 1);
    for (const group of form.querySelectorAll(".cells")) {
      while (group.children.length > count) group.lastChild.remove();
      while (group.children.length < count) {
        const box = group.firstChild.cloneNode();
        const cell = group.children.length + 1;
        box.id = box.id.replace(/1$/, cell);
        box.name = box.name.replace(/1$/, cell);
        box.value = "";
        box.placeholder = cell;
        box.setAttribute("aria-label", `${group.dataset.label}, cell ${cell}`);
        group.append(box);
      }
    }
  };

  /* Whether there is more in it than what was remembered from last time. */
  const typed = (given) => Object.entries(given).some(([name, text]) => !(name in REMEMBERED) && text.trim());

  const set = (form, name, text) => {
    const box = form.elements[name];
    if (!box) return;
    if (box.type === "datetime-local" && text) {
      const moment = new Date(text);
      box.value = new Date(moment - moment.getTimezoneOffset() * 60000).toISOString().slice(0, 19);
    } else box.value = text;
  };

  const fill = (form, given) => {
    form.reset();
    for (const name of ["pack", "vehicle", "readings"]) set(form, name, given[name] || "");
    fitCells(form);
    for (const [name, text] of Object.entries(given)) set(form, name, text);
  };

  /* Ready for the next: pack, model and the way of reading stay. */
  const clear = (form) => {
    const kept = texts(form);
    for (const box of form.querySelectorAll("input, textarea, select")) {
      if (box.name in REMEMBERED || box.type === "hidden") continue;
      if (box.type === "radio") box.checked = false;
      else box.value = "";
    }
    set(form, "readings", kept.readings);
    form.querySelector(".more").open = false;
    problems(form, {});
    form.querySelector(".stray").textContent = "";
    show(form, "");
  };

  const remember = (form) => {
    const secure = location.protocol === "https:" ? "; Secure" : "";
    const given = texts(form);
    for (const [name, cookie] of Object.entries(REMEMBERED))
      if (name in given) document.cookie = `${cookie}=${encodeURIComponent(given[name])}; Path=/log; Max-Age=34560000; SameSite=Lax${secure}`;
  };

  const remembered = (name) => {
    const found = document.cookie.split("; ").find((one) => one.startsWith(`${REMEMBERED[name]}=`));
    return found ? decodeURIComponent(found.split("=")[1]) : "";
  };

  /* Writes what is wrong under each field; `which` says of which fields it may be told already. Returns the first box at fault. */
  const problems = (form, wrong, which = () => true) => {
    let first = null;
    for (const field of form.querySelectorAll("[data-field]")) {
      const words = wrong[field.dataset.field] || "";
      const said = words && which(field) ? words : "";
      const place = field.querySelector(".problem");
      if (place.textContent !== said) place.textContent = said;
      const boxes = boxesIn(field);
      for (const box of field.querySelectorAll("input:not([type=radio]), select, textarea"))
        said ? box.setAttribute("aria-invalid", "true") : box.removeAttribute("aria-invalid");
      if (!said) continue;
      field.closest("details")?.setAttribute("open", "");
      first ??= boxesIn(field).find((box) => !box.value) || boxesIn(field)[0] || boxes[0];
    }
    return first;
  };

  const show = (form, html) => {
    const place = form.querySelector(".answer");
    place.dataset.empty ??= place.innerHTML;
    if (place.dataset.shown === html) return;
    place.dataset.shown = html;
    place.innerHTML = html || place.dataset.empty;
  };

  let stopper = null, timer = null;

  /* Not while somebody is still in the field, and not of what has not been typed yet. */
  const tellable = (field) => {
    const filled = boxesIn(field).some((box) => (box.type === "radio" ? box.checked : box.value.trim()));
    return (filled && !field.contains(document.activeElement)) || field.querySelector(".problem").textContent !== "";
  };

  const preview = async (form) => {
    const given = texts(form);
    stopper?.abort();
    if (!given.pack || !typed(given)) return show(form, "");
    stopper = new AbortController();
    const own = stopper;
    const entry = { kind: form.id, at: new Date().toISOString(), texts: given };
    const { status, body } = await Queue.ask("/log/preview", { ...Queue.json("POST", entry), fleeting: true }, own);
    if (own !== stopper) return;
    if (status === 200) {
      problems(form, body.problems || {}, tellable);
      show(form, body.html || "");
    } else if (status === 0) show(form, "<p>No connection: what it shows can be told once it is handed over. Saving works.</p>");
    Queue.changed();
  };

  const soon = (form) => {
    clearTimeout(timer);
    timer = setTimeout(preview, AFTER_TYPING, form);
  };

  const still = () => {
    clearTimeout(timer);
    stopper?.abort();
    stopper = null;
  };

  /* The key that ends a number leads to the next box; in the last one it saves. */
  const onEnter = (event) => {
    const box = event.target;
    if (event.key !== "Enter" || event.isComposing || box.tagName !== "INPUT" || box.type === "radio") return;
    const boxes = [...event.currentTarget.querySelectorAll("input:not([type=radio]):not([type=hidden])")].filter(seen);
    const next = boxes[boxes.indexOf(box) + 1];
    if (!next) return;
    event.preventDefault();
    next.focus();
  };

  return { texts, typed, fill, clear, fitCells, set, remember, remembered, problems, show, soon, still, onEnter, find };
})();
