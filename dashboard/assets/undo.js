/* The bar that says what was done. It goes by itself after some minutes, and after a change is taken back the page is drawn anew. */
(() => {
  const LASTS_S = 600;
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    undo: {
      shown(_when, _close, done) {
        const closed = window.dash_clientside.callback_context.triggered.some((one) => one.prop_id === "done-close.n_clicks" && one.value);
        const old = done?.at && Date.now() / 1000 - done.at > LASTS_S;
        const button = document.getElementById("done-undo");
        if (button) button.hidden = !done?.id;
        if (!done || closed || old) return ["", true, ""];
        return [done.words, false, done.words];
      },
      taken_back(told) {
        /* The words were put into the session's store a moment ago; the reload finds them there. */
        const own = told?.back?.startsWith("/") && !told.back.startsWith("//");
        if (told?.redraw) setTimeout(() => (own && told.back !== location.pathname + location.search ? location.assign(told.back) : location.reload()), 150);
        return window.dash_clientside.no_update;
      },
    },
  });
})();
