/* With a mouse, dragging over a recording looks at that part more closely. A finger keeps moving the page; it has the buttons.
   The part looked at stands in the address, in minutes, and is looked at again from there. */
(() => {
  const watched = new WeakSet();
  const look = () => {
    const chart = document.querySelector("#run-recording .js-plotly-plot");
    if (!chart || watched.has(chart) || !chart.on) return;
    watched.add(chart);
    const [low, high] = (new URLSearchParams(location.search).get("part") || "").split("_").map(Number);
    if (high > low) window.dash_clientside.set_props("run-recording-dragged", { data: { "xaxis.range[0]": low, "xaxis.range[1]": high } });
    if (!matchMedia("(pointer: fine)").matches) return;
    /* Every drawing anew takes the way of dragging from the figure again. */
    const drag = () => {
      if (chart._fullLayout?.dragmode !== "zoom") window.Plotly.relayout(chart, { dragmode: "zoom" });
    };
    chart.on("plotly_afterplot", drag);
    drag();
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    recording: {
      kept: (told) => {
        const query = new URLSearchParams(location.search);
        if (!told || !query.get("run")) return;
        if (String(told.shown) === String(told.whole)) query.delete("part");
        else query.set("part", told.shown.map((end) => end.toFixed(3)).join("_"));
        history.replaceState(history.state, "", `${location.pathname}?${query}${location.hash}`);
      },
      dragged: (told) => (told && ("xaxis.range[0]" in told || "xaxis.autorange" in told) ? told : window.dash_clientside.no_update),
    },
  });
  new MutationObserver(look).observe(document, { subtree: true, childList: true });
})();
