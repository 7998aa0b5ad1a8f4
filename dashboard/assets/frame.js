/* When a page has arrived: put it in the place of the first look, with the folds and the focus a person has set there meanwhile, mark its place in the menu, and move the reading point to its heading. */
(() => {
  let arrivals = 0;
  const FOCUSABLE = "a[href], summary, [tabindex]";
  const takeOver = (first, whole) => {
    const folds = [...whole.querySelectorAll("details")];
    for (const [place, fold] of first.querySelectorAll("details").entries()) if (folds[place]) folds[place].open = fold.open;
    const place = [...first.querySelectorAll(FOCUSABLE)].indexOf(document.activeElement);
    first.remove();
    if (place >= 0) whole.querySelectorAll(FOCUSABLE)[place]?.focus({ preventScroll: true });
  };
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    frame: {
      arrived(children) {
        if (!children || children.length === 0) return window.dash_clientside.no_update;
        const first = document.getElementById("first-look");
        if (first) takeOver(first, document.getElementById("react-entry-point"));
        for (const link of document.querySelectorAll(".menu-link")) {
          const here = link.pathname === "/" ? location.pathname === "/" : location.pathname.startsWith(link.pathname);
          if (here) link.setAttribute("aria-current", "page");
          else link.removeAttribute("aria-current");
        }
        arrivals += 1;
        if (arrivals > 1) requestAnimationFrame(() => document.querySelector("#page h1")?.focus({ preventScroll: true }));
        return String(arrivals);
      },
    },
  });
})();
