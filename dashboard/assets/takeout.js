/* A chart as a picture, and its numbers as a CSV file: made in the browser from what it already holds. */
(() => {
  const WIDE_PX = 1100;
  const NUMBER = "[-−]?\\d[\\d.,\\u202f]*";
  const WITH_UNIT = new RegExp(`^(?:([^:]*): )?(${NUMBER})(?:[ \\u00a0]±[ \\u00a0](${NUMBER}))?[ \\u00a0]?([^\\s\\d(,]+)?(?: \\((${NUMBER}) to (${NUMBER})[ \\u00a0]?\\S*\\))?(?:, (.*))?$`);

  const fileName = (button) => (button.dataset.name || "chart").replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-+|-+$/g, "").slice(0, 80).toLowerCase() || "chart";
  const hand = (href, name) => {
    const link = document.createElement("a");
    link.href = href;
    link.download = name;
    link.click();
  };

  /* 3.910,5 or 3,910.5 as 3910.5: the page says which mark stands before decimals. */
  const plain = (text, decimal) => {
    const kept = [...text.replace("−", "-")].filter((sign) => /[-\d]/.test(sign) || sign === decimal).join("");
    return kept.replace(decimal, ".");
  };

  /* A column whose cells are all measured becomes numbers, with the ends of the interval and any words in columns of their own. */
  const split = (title, cells, decimal) => {
    const found = cells.map((cell) => cell.match(WITH_UNIT));
    const filled = cells.filter((cell, place) => found[place]);
    const units = new Set(found.filter(Boolean).map((match) => match[4] || ""));
    if (filled.length === 0 || units.size > 1 || found.some((match, place) => !match && /\d/.test(cells[place]))) return [[title, cells]];
    const [unit] = units;
    const number = (match, pick) => (match ? pick(match) : "");
    const columns = [[unit ? `${title} [${unit}]` : title, found.map((match) => number(match, (one) => plain(one[2], decimal)))]];
    if (found.some((match) => match?.[3] || match?.[5])) {
      const value = (one) => Number(plain(one[2], decimal));
      const digits = (one) => (plain(one[2], decimal).split(".")[1] || "").length;
      const end = (one, sign, place) =>
        one[place] ? plain(one[place], decimal) : one[3] ? (value(one) + sign * Number(plain(one[3], decimal))).toFixed(digits(one)) : "";
      columns.push([`${title} low`, found.map((match) => number(match, (one) => end(one, -1, 5)))]);
      columns.push([`${title} high`, found.map((match) => number(match, (one) => end(one, 1, 6)))]);
    }
    const words = cells.map((cell, place) => (found[place] ? [found[place][1], found[place][7]].filter(Boolean).join(", ") : cell));
    if (words.some(Boolean)) columns.push([`${title} in words`, words]);
    return columns;
  };

  const quoted = (text) => (/[",\r\n]|^\s|\s$/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
  const table = (box) => {
    const { columns, rows } = JSON.parse(box.dataset.numbers);
    const decimal = box.dataset.decimal || ".";
    const made = columns.flatMap((title, place) => {
      const cells = rows.map((row) => row[place].replaceAll("\u00a0", " "));
      return place === 0 ? [[title, cells]] : split(title, cells, decimal);
    });
    const lines = [made.map(([title]) => title), ...rows.map((_, place) => made.map(([, cells]) => cells[place]))];
    return lines.map((line) => line.map(quoted).join(",")).join("\r\n") + "\r\n";
  };

  const numbers = (figure, button) => {
    const boxes = [...figure.querySelectorAll("[data-numbers]")];
    boxes.forEach((box, place) => {
      const file = new Blob(["\ufeff", table(box)], { type: "text/csv" });
      const address = URL.createObjectURL(file);
      hand(address, `${fileName(button)}${boxes.length > 1 ? `-${place + 1}` : ""}.csv`);
      setTimeout(() => URL.revokeObjectURL(address), 10000);
    });
  };

  const picture = async (figure, button) => {
    const chart = figure.querySelector(".js-plotly-plot");
    if (!chart || !window.Plotly) return;
    const { height } = chart.getBoundingClientRect();
    /* On white with dark words, whatever the screen shows: a picture is mostly for paper or a letter. */
    const layout = structuredClone(chart.layout);
    const words = { ...layout.font, color: "#1a2125" };
    Object.assign(layout, { paper_bgcolor: "#ffffff", plot_bgcolor: "#ffffff", font: words, title: { text: button.dataset.title, x: 0.02, font: { ...words, size: 15 } } });
    layout.margin = { ...layout.margin, t: (layout.margin?.t || 26) + 34 };
    for (const name of Object.keys(layout)) if (/^[xy]axis\d*$/.test(name)) layout[name] = { ...layout[name], tickfont: words, color: "#1a2125" };
    const address = await window.Plotly.toImage({ data: chart.data, layout }, { format: "png", width: WIDE_PX, height: height + 34, scale: 2 });
    hand(address, `${fileName(button)}.png`);
  };

  document.addEventListener("click", (event) => {
    const button = event.target.closest?.("button[data-take]");
    const figure = button?.closest(".figure");
    if (!figure) return;
    if (button.dataset.take === "png") picture(figure, button);
    else numbers(figure, button);
  });
})();
