/* The numbers of a chart become a table when its fold is opened, and again when they change while it is open. */
(() => {
  const cell = (kind, text, scope) => {
    const made = document.createElement(kind);
    made.textContent = text;
    if (scope) made.scope = scope;
    return made;
  };
  const row = (cells) => {
    const made = document.createElement("tr");
    made.append(...cells);
    return made;
  };
  const build = (box) => {
    const { columns, rows } = JSON.parse(box.dataset.numbers);
    const table = document.createElement("table");
    table.className = "plain";
    table.createTHead().append(row(columns.map((text) => cell("th", text, "col"))));
    table.createTBody().append(...rows.map(([first, ...rest]) => row([cell("th", first, "row"), ...rest.map((text) => cell("td", text))])));
    box.replaceChildren(table);
  };
  const opened = (box) => box.closest("details")?.open;

  document.addEventListener(
    "toggle",
    ({ target }) => {
      if (target.open) target.querySelectorAll("[data-numbers]").forEach(build);
    },
    true,
  );
  new MutationObserver((changes) => {
    for (const { target } of changes) {
      if (opened(target)) build(target);
      else target.replaceChildren();
    }
  }).observe(document, { subtree: true, attributes: true, attributeFilter: ["data-numbers"] });
})();
