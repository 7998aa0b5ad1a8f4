/* With a mouse, dragging over a recording looks at that part more closely. A finger keeps moving the page; it has the buttons. */
(() => {
  const marked = new WeakSet();
  const look = () => {
    const chart = document.querySelector("#run-recording .js-plotly-plot");
    if (!chart || marked.has(chart) || !chart.on || !window.Plotly || !matchMedia("(pointer: fine)").matches) return;
    marked.add(chart);
    window.Plotly.relayout(chart, { dragmode: "zoom" });
  };
  new MutationObserver(look).observe(document, { subtree: true, childList: true });
})();
