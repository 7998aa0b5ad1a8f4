/* Taps while a bench test is taken: kept on this side, so that quick taps are never lost on the way. What they mean is judged by the program. */
(() => {
  const BY = { "bench-down-10": -0.1, "bench-down-5": -0.05, "bench-up-5": 0.05, "bench-up-10": 0.1 };
  const moved = (text, by) => {
    const value = Number(text.trim().replace(",", "."));
    if (!text.trim() || !Number.isFinite(value)) return null;
    const next = Math.max(0, Math.round((value + by) * 1000) / 1000).toFixed(2);
    return text.includes(",") ? next.replace(".", ",") : next;
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    bench: {
      tapped(...given) {
        const { no_update, callback_context } = window.dash_clientside;
        const [text, kept, chosen] = given.slice(-3);
        const id = callback_context.triggered[0]?.prop_id.split(".")[0];
        const typed = String(text ?? "");
        if (id in BY) {
          const next = moved(typed, BY[id]);
          return [next === null ? no_update : next, no_update];
        }
        const steps = [...(kept?.[chosen] ?? [])];
        if (id === "bench-undo") steps.pop();
        else if (id === "bench-running" || id === "bench-stopped") steps.push([typed.slice(0, 12), id === "bench-running"]);
        else return [no_update, no_update];
        return [no_update, { ...kept, [chosen]: steps }];
      },
    },
  });
})();
