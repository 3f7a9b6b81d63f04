// Drawings can be looked at closely: larger, smaller, and the values under the pointer, read off their own axes.
"use strict";
(function () {
  const number = (text) => {
    const plain = text.replace(/[\u00a0\u2009\u202f\s]/g, "").replace(/\u2212/g, "-");
    return /^[+-]?\d+(\.\d+)?$/.test(plain) ? Number(plain) : null;
  };

  // the labels of an axis: numbers that stand in one row (across) or one column (up), at least three of them
  function axis(svg, across) {
    const inverse = svg.getScreenCTM().inverse(), rows = new Map();
    svg.querySelectorAll("text").forEach((label) => {
      const value = number(label.textContent);
      if (value === null) return;
      const box = label.getBoundingClientRect();
      const middle = new DOMPoint(box.x + box.width / 2, box.y + box.height / 2).matrixTransform(inverse);
      const edge = new DOMPoint(box.right, box.y + box.height / 2).matrixTransform(inverse);
      const key = Math.round(across ? middle.y : edge.x);
      if (!rows.has(key)) rows.set(key, []);
      rows.get(key).push([across ? middle.x : middle.y, value]);
    });
    const found = [...rows.values()].sort((a, b) => b.length - a.length)[0];
    return found && found.length > 2 ? found.sort((a, b) => a[0] - b[0]) : null;
  }

  function read(ticks, at) {
    let place = ticks.findIndex((tick) => tick[0] > at);
    place = Math.max(1, place < 0 ? ticks.length - 1 : place);
    const [[x0, v0], [x1, v1]] = [ticks[place - 1], ticks[place]];
    return v0 + ((at - x0) / (x1 - x0)) * (v1 - v0);
  }

  const shown = (value, ticks) => {
    const step = Math.abs(ticks[1][1] - ticks[0][1]) / 50;
    return value.toFixed(Math.max(0, Math.ceil(-Math.log10(step)))).replace("-", "\u2212");
  };

  function equip(figure) {
    const drawings = [...figure.querySelectorAll("svg")].map((svg) => {
      const [x, y, width, height] = svg.getAttribute("viewBox").split(/\s+/).map(Number);
      return { svg, whole: { x, y, width, height }, near: 1, middle: [0.5, 0.5] };
    });
    const line = document.createElement("div");
    line.className = "reading";
    const button = (label, name) => {
      const made = document.createElement("button");
      made.type = "button"; made.className = "btn"; made.textContent = label; made.setAttribute("aria-label", name);
      line.append(made);
      return made;
    };
    const larger = button("+", "Larger"), smaller = button("\u2212", "Smaller");
    const words = document.createElement("output");
    line.append(words);
    figure.querySelector("figcaption").before(line);

    const lay = () => drawings.forEach((each) => {
      const width = each.whole.width / each.near, height = each.whole.height / each.near;
      const inside = (middle, size, full, from) => from + Math.min(Math.max(middle * full - size / 2, 0), full - size);
      const x = inside(each.middle[0], width, each.whole.width, each.whole.x);
      const y = inside(each.middle[1], height, each.whole.height, each.whole.y);
      each.svg.setAttribute("viewBox", `${x} ${y} ${width} ${height}`);
      smaller.disabled = each.near === 1;
    });
    const closer = (factor) => { drawings.forEach((each) => { each.near = Math.min(8, Math.max(1, each.near * factor)); }); lay(); };
    larger.addEventListener("click", () => closer(1.5));
    smaller.addEventListener("click", () => closer(1 / 1.5));

    drawings.forEach((each) => {
      const svg = each.svg;
      svg.classList.add("near");
      let axes = null;
      const point = (event) => new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      svg.addEventListener("pointermove", (event) => {
        axes = axes || [axis(svg, true), axis(svg, false)];
        const at = point(event), said = [];
        if (axes[0]) said.push(`across ${shown(read(axes[0], at.x), axes[0])}`);
        if (axes[1]) said.push(`up ${shown(read(axes[1], at.y), axes[1])}`);
        words.textContent = said.join(", ");
      });
      svg.addEventListener("dblclick", (event) => {
        const at = point(event);
        each.middle = [(at.x - each.whole.x) / each.whole.width, (at.y - each.whole.y) / each.whole.height];
        closer(1.5);
      });
      let from = null;
      svg.addEventListener("pointerdown", (event) => { if (each.near > 1) { from = event; svg.setPointerCapture(event.pointerId); } });
      svg.addEventListener("pointerup", () => { from = null; });
      svg.addEventListener("pointermove", (event) => {
        if (!from) return;
        const box = svg.getBoundingClientRect();
        each.middle[0] -= (event.clientX - from.clientX) / box.width / each.near;
        each.middle[1] -= (event.clientY - from.clientY) / box.height / each.near;
        from = event;
        lay();
      });
    });
    lay();
  }

  document.querySelectorAll("figure.pic").forEach((figure) => { if (figure.querySelector("svg[viewBox]")) equip(figure); });
})();
