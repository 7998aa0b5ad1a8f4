/* A form marked data-asks puts what is chosen in it into the address and tells the store of that name, which has the answer made.
   So back and bookmarks work, while the form itself stays as it is under the fingers of who fills it in. */
(() => {
  const tell = (form, back) => window.dash_clientside.set_props(form.dataset.asks, { data: { search: location.search, back, at: Date.now() } });
  const ask = (form) => {
    const query = new URLSearchParams(location.search);
    for (const [name, value] of new FormData(form)) {
      if (value.trim()) query.set(name, value.trim());
      else query.delete(name);
    }
    const words = query.toString();
    const search = words ? "?" + words : "";
    if (search === location.search) return;
    history.pushState({}, "", location.pathname + search);
    tell(form, false);
  };
  const asking = (event) => event.target.closest?.("form[data-asks]");
  document.addEventListener("change", (event) => {
    const form = asking(event);
    if (form) ask(form);
  });
  document.addEventListener("submit", (event) => {
    const form = asking(event);
    if (!form) return;
    event.preventDefault();
    ask(form);
  });
  /* Moved to another address of the same page: the forms follow it, and nothing else needs to be drawn anew. */
  for (const moved of ["popstate", "_dashprivate_pushstate"]) {
    window.addEventListener(moved, (event) => {
      const forms = [...document.querySelectorAll("form[data-asks]")].filter((form) => form.dataset.page === location.pathname);
      if (forms.length === 0) return;
      event.stopImmediatePropagation();
      forms.forEach((form) => tell(form, true));
    });
  }
})();
