/* With a mouse, dragging over a recording looks at that part more closely. A finger keeps moving the page; it has the buttons. */
(() => {
  const watched = new WeakSet();
  const look = () => {
    const chart = document.querySelector("#run-recording .js-plotly-plot");
    if (!chart || watched.has(chart) || !chart.on || !matchMedia("(pointer: fine)").matches) return;
    watched.add(chart);
    /* Every drawing anew takes the way of dragging from the figure again. */
    const drag = () => {
      if (chart._fullLayout?.dragmode !== "zoom") window.Plotly.relayout(chart, { dragmode: "zoom" });
    };
    chart.on("plotly_afterplot", drag);
    drag();
  };
  new MutationObserver(look).observe(document, { subtree: true, childList: true });
})();
