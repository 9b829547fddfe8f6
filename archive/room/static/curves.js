// The curves of one record: drawn here, computed on the server. One state for pointer and keyboard: (curve, point).
"use strict";
(() => {
  const chooser = document.getElementById("parameter");
  const box = document.getElementById("plot");
  if (!chooser || !box || typeof uPlot === "undefined") return;
  const said = document.getElementById("value");
  const list = document.getElementById("curve-list");
  const dark = matchMedia("(prefers-color-scheme: dark)");
  // Parted by lightness for eyes of every kind, and none of a hue of the wire code.
  const colours = () => dark.matches
    ? ["#c455f0", "#8a8a14", "#f02d92", "#fbf6a0", "#e3306a", "#bb3a98"]
    : ["#3c0a54", "#9c8700", "#7a0a1c", "#e43be4", "#8a0a1e", "#6a1482"];
  let data = null, plot = null, at = { curve: 0, point: 0 }, speak = 0, asked = 0;

  const figure = (v) => v.toFixed(1).replace("-", "\u2212");
  const name = (c) => [c.pairing || "the link", c.end ? c.end + " end" : ""].filter(Boolean).join(", ");
  const axis = (c) => data.frequencies[c.axis];

  // All curves on the union of their axes, since one plot has one.
  const laid = () => {
    const all = [...new Set(data.frequencies.flat())].sort((a, b) => a - b);
    const place = new Map(all.map((f, i) => [f, i]));
    const onto = (frequencies, values) => {
      const out = new Array(all.length).fill(null);
      frequencies.forEach((f, i) => { out[place.get(f)] = values[i]; });
      return out;
    };
    return [all, ...data.curves.map((c) => onto(axis(c), c.values)),
            onto(data.frequencies[0], data.limit || data.frequencies[0].map(() => null))];
  };

  // The tightest point is where the server says it is; without grading, the first.
  const tightest = () => {
    let best = null;
    for (const p of data.points) {
      const w = p.worst_margin;
      if (w && w.margin !== null && w.frequency_mhz !== null && (!best || w.margin < best.margin)) {
        const curve = data.curves.findIndex((c) => c.pairing === p.pairing && (c.end || null) === (p.end || null));
        if (curve < 0) continue;
        const point = axis(data.curves[curve]).findIndex((f) => Math.abs(f - w.frequency_mhz) <= 1e-6 * f);
        if (point >= 0) best = { curve, point, margin: w.margin };
      }
    }
    return best || { curve: 0, point: 0 };
  };

  const sentence = () => {
    const c = data.curves[at.curve], f = axis(c)[at.point], v = c.values[at.point];
    const tight = data.points.find((p) => p.pairing === c.pairing && (c.end || null) === (p.end || null));
    const w = tight && tight.worst_margin;
    const here = w && w.frequency_mhz !== null && Math.abs(w.frequency_mhz - f) <= 1e-6 * f;
    const value = v === null ? "no value" : figure(v) + " " + data.unit;
    return `${name(c)}: ${value} at ${f} MHz` + (here ? `, its tightest point, margin ${figure(w.margin)} dB` : "");
  };

  const show = (byKey) => {
    const c = data.curves[at.curve];
    [...list.querySelectorAll("button")].forEach((b, i) => b.setAttribute("aria-pressed", String(i === at.curve)));
    plot.series.forEach((s, i) => {
      if (i > 0 && i <= data.curves.length) { s.width = i - 1 === at.curve ? 2.5 : 1; s.alpha = i - 1 === at.curve ? 1 : 0.45; }
    });
    plot.redraw(false);
    const x = axis(c)[at.point], y = c.values[at.point];
    plot.setCursor({ left: plot.valToPos(x, "x"), top: y === null ? -10 : plot.valToPos(y, "y") }, false);
    if (byKey) { clearTimeout(speak); speak = setTimeout(() => { said.textContent = sentence(); }, 150); }
  };

  const draw = () => {
    if (plot) plot.destroy();
    box.querySelectorAll(".uplot").forEach((e) => e.remove());
    const css = getComputedStyle(document.documentElement);
    const ink = css.getPropertyValue("--ink").trim(), line = css.getPropertyValue("--line").trim();
    const palette = colours();
    const rows = laid();
    const ticks = { stroke: ink, grid: { stroke: line, width: 1 }, ticks: { stroke: line, width: 1 }, font: "13px sans-serif" };
    plot = new uPlot({
      width: box.clientWidth, height: Math.max(320, Math.min(520, Math.round(innerHeight * 0.55))),
      scales: { x: { time: false, distr: 3, log: 10, range: (u, min, max) => [min, max] } },
      legend: { show: false }, cursor: { drag: { x: true, y: false }, points: { size: 7 } },
      axes: [{ ...ticks, label: "MHz", labelFont: "13px sans-serif" }, { ...ticks, label: data.parameter + ", " + data.unit, labelFont: "13px sans-serif", size: 60 }],
      series: [{}, ...data.curves.map((c, i) => ({ label: name(c), stroke: palette[i % palette.length], width: 1, points: { show: false }, spanGaps: false })),
               { label: "limit", stroke: ink, width: 2, dash: [8, 4], points: { show: false } }],
    }, rows, box);
    plot.over.addEventListener("mousemove", () => {
      const i = plot.cursor.idx;
      if (i === null || i === undefined) return;
      const f = plot.data[0][i], c = data.curves[at.curve], point = axis(c).indexOf(f);
      if (point >= 0) at.point = point;
      said.textContent = sentence();
    });
    list.replaceChildren(...data.curves.map((c, i) => {
      const item = document.createElement("li"), button = document.createElement("button");
      button.type = "button"; button.className = "plain"; button.textContent = name(c);
      button.addEventListener("click", () => { at.curve = i; at.point = Math.min(at.point, c.values.length - 1); show(true); });
      item.append(button);
      return item;
    }));
    show(false);
    said.textContent = `${data.curves.length} curves` + (data.limit_id ? `, limit ${data.limit_id}` : ", no limit line") + ". " + sentence();
  };

  const load = async () => {
    const mine = ++asked;
    const address = new URL(chooser.dataset.curves, location.href);
    address.searchParams.set("parameter", chooser.value);
    const answer = await fetch(address, { headers: { accept: "application/json" } });
    if (mine !== asked) return;
    if (!answer.ok) { said.textContent = "The curves could not be read: " + answer.status + "."; return; }
    data = await answer.json();
    at = tightest();
    draw();
  };

  const zoom = (factor) => {
    const all = plot.data[0], here = axis(data.curves[at.curve])[at.point];
    const now = plot.scales.x, low = Math.log(now.min), high = Math.log(now.max), mid = Math.log(here);
    const min = Math.max(all[0], Math.exp(mid + (low - mid) * factor)), max = Math.min(all[all.length - 1], Math.exp(mid + (high - mid) * factor));
    if (max > min) plot.setScale("x", { min, max });
    show(true);
  };

  box.addEventListener("keydown", (event) => {
    if (!data || event.ctrlKey || event.altKey || event.metaKey) return;
    const last = data.curves[at.curve].values.length - 1, curves = data.curves.length;
    const moves = {
      ArrowLeft: () => { at.point -= 1; }, ArrowRight: () => { at.point += 1; },
      PageUp: () => { at.point -= 10; }, PageDown: () => { at.point += 10; },
      Home: () => { at.point = 0; }, End: () => { at.point = last; },
      ArrowUp: () => { at.curve = (at.curve + curves - 1) % curves; }, ArrowDown: () => { at.curve = (at.curve + 1) % curves; },
      t: () => { at = tightest(); },
      "+": () => zoom(0.6), "-": () => zoom(1 / 0.6),
      Escape: () => { const all = plot.data[0]; plot.setScale("x", { min: all[0], max: all[all.length - 1] }); },
    };
    if (!(event.key in moves)) return;
    event.preventDefault();
    moves[event.key]();
    at.point = Math.max(0, Math.min(data.curves[at.curve].values.length - 1, at.point));
    show(true);
  });
  chooser.addEventListener("change", load);
  dark.addEventListener("change", () => { if (data) draw(); });
  let width = 0;
  new ResizeObserver(() => { if (data && Math.abs(box.clientWidth - width) > 2) { width = box.clientWidth; draw(); } }).observe(box);
  load();
})();
