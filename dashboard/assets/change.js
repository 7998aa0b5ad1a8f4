/* Forms that write something down: sent by our own callback instead of by the browser, and the first field at fault gets the cursor. */
(() => {
  const later = (work) => setTimeout(work, 60);
  document.addEventListener("submit", (event) => {
    if (event.target.closest?.("form[data-change]")) event.preventDefault();
  });
  const first = () => {
    const form = document.querySelector("form[data-change]");
    const fault = document.querySelector(".change .mantine-InputWrapper-error");
    const field = fault?.closest(".mantine-InputWrapper-root")?.querySelector("input:not([type=hidden]), textarea");
    const fold = field?.closest("details");
    if (fold) fold.open = true;
    if (field) field.focus();
    else form?.scrollIntoView({ block: "start" });
  };
  /* A link may lead to a part of the form, which is there only once the form has been drawn. */
  const part = new MutationObserver(() => {
    const wanted = location.pathname === "/change" && location.hash.length > 1 && document.getElementById(location.hash.slice(1));
    if (!wanted) return;
    part.disconnect();
    later(() => {
      wanted.scrollIntoView({ block: "start" });
      wanted.focus({ preventScroll: true });
    });
  });
  if (location.pathname === "/change" && location.hash) part.observe(document, { childList: true, subtree: true });
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    change: {
      wrong(told) {
        if (told) later(first);
        return window.dash_clientside.no_update;
      },
      asked() {
        return window.dash_clientside.callback_context.triggered.some((one) => one.prop_id.endsWith("-ask.n_clicks") && one.value);
      },
    },
  });
})();
