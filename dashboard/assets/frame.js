/* When a page has arrived: take the first look away, mark its place in the menu, and move the reading point to its heading. */
(() => {
  let arrivals = 0;
  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    frame: {
      arrived(children) {
        if (!children || children.length === 0) return window.dash_clientside.no_update;
        document.getElementById("first-look")?.remove();
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
