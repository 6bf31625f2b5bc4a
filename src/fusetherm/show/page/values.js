// Values on hover, touch or the arrow keys: the point of a line nearest to the pointer, read off
// the axes whose scales stand in the figure's metadata. Without it the page says all the same.
"use strict";
for (const figure of document.querySelectorAll("figure")) {
  const svg = figure.querySelector("svg");
  const told = svg && [...svg.querySelectorAll("metadata *")].map(e => e.textContent).find(t => t.startsWith("{\"axes\""));
  if (!told) continue;
  const points = [], pieces = [];
  JSON.parse(told).axes.forEach((axes, number) => {
    const group = svg.querySelector("#axes_" + (number + 1));
    if (!group) return;
    const paper = group.querySelector("path").getBBox();
    for (const path of group.querySelectorAll(":scope > g[id^=line2d] > path[clip-path]")) {
      let last = null;
      for (const pair of path.getAttribute("d").matchAll(/([ML]) (-?[\d.]+) (-?[\d.]+)/g)) {
        const point = { x: Number(pair[2]), y: Number(pair[3]), axes, paper };
        if (pair[1] === "L") pieces.push([last, point]);
        points.push(last = point);
      }
    }
  });
  points.sort((a, b) => a.x - b.x);
  const box = document.createElement("div");
  box.className = "value"; box.hidden = true; box.setAttribute("role", "status");
  figure.append(box);
  let here = -1;
  const at = (scale, [low, high], share) => scale === "log" ? low * (high / low) ** share : low + (high - low) * share;
  const plain = v => String(Number(v.toPrecision(3)));
  function show(p) {
    const m = svg.getScreenCTM(), f = figure.getBoundingClientRect();
    box.textContent =
      p.axes.x + " " + plain(at(p.axes.xscale, p.axes.xlim, (p.x - p.paper.x) / p.paper.width)) + ", " +
      p.axes.y + " " + plain(at(p.axes.yscale, p.axes.ylim, 1 - (p.y - p.paper.y) / p.paper.height));
    box.hidden = false;
    const left = Math.max(0, Math.min(p.x * m.a + m.e - f.left + 8, f.width - box.offsetWidth));
    box.style.left = figure.scrollLeft + left + "px";
    box.style.top = Math.max(0, p.y * m.d + m.f - f.top - 30) + "px";
  }
  function near(event) {
    const m = svg.getScreenCTM();
    const x = (event.clientX - m.e) / m.a, y = (event.clientY - m.f) / m.d;
    let best = null, least = 900;
    for (const [a, b] of pieces) {
      const dx = b.x - a.x, dy = b.y - a.y, whole = dx * dx + dy * dy;
      const share = whole ? Math.max(0, Math.min(1, ((x - a.x) * dx + (y - a.y) * dy) / whole)) : 0;
      const p = { ...a, x: a.x + share * dx, y: a.y + share * dy };
      const d = (p.x - x) ** 2 + (p.y - y) ** 2;
      if (d < least) { least = d; best = p; }
    }
    if (best) show(best); else box.hidden = true;
  }
  figure.addEventListener("pointermove", near);
  figure.addEventListener("pointerdown", near);
  figure.addEventListener("pointerleave", () => { box.hidden = true; });
  figure.addEventListener("keydown", event => {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!step || !points.length) return;
    here = Math.max(0, Math.min(points.length - 1, here + step));
    show(points[here]); event.preventDefault();
  });
}
