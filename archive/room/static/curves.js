// A plot of curves: drawn here, computed on the server. One state for pointer and keyboard: (curve, point).
"use strict";
(() => {
  const box = document.getElementById("plot");
  if (!box || typeof uPlot === "undefined") return;
  const chooser = document.getElementById("parameter"), against = document.getElementById("against");
  const said = document.getElementById("value"), list = document.getElementById("curve-list");
  const buttons = document.getElementById("plot-buttons");
  const dark = matchMedia("(prefers-color-scheme: dark)");
  // Parted by lightness for eyes of every kind, and none of a hue of the wire code.
  const colours = () => dark.matches
    ? ["#c455f0", "#8a8a14", "#f02d92", "#fbf6a0", "#e3306a", "#bb3a98"]
    : ["#3c0a54", "#9c8700", "#7a0a1c", "#e43be4", "#8a0a1e", "#6a1482"];
  let data = null, plot = null, at = { curve: 0, point: 0 }, hidden = new Set(), speak = 0, asked = 0, zoomed = null;

  const figure = (v, digits = 1) => v.toFixed(digits).replace("-", "\u2212").replace(".", data.decimal);
  const plain = (v) => String(v).replace(".", data.decimal);
  const fill = (text, values) => text.replace(/\{(\w+)\}/g, (_, key) => values[key]);
  const x = (curve) => data.axes[curve.axis];
  const near = (values, wanted) => {
    let low = 0, high = values.length - 1;
    while (high - low > 1) { const mid = (low + high) >> 1; if (values[mid] < wanted) low = mid; else high = mid; }
    return Math.abs(values[low] - wanted) <= Math.abs(values[high] - wanted) ? low : high;
  };

  // All curves on the union of their axes, since one plot has one; the limit of each axis after them.
  const laid = () => {
    const all = [...new Set(data.axes.flat())].sort((a, b) => a - b);
    const place = new Map(all.map((f, i) => [f, i]));
    const onto = (frequencies, values) => {
      const out = new Array(all.length);  // undefined is bridged, null is a gap
      frequencies.forEach((f, i) => { out[place.get(f)] = values[i]; });
      return out;
    };
    const limited = data.lines.findIndex((line) => line);
    const line = limited < 0 ? new Array(all.length).fill(null) : onto(data.axes[limited], data.lines[limited]);
    return [all, ...data.curves.map((c) => onto(x(c), c.values)), line];
  };

  const tight = () => data.tight.find((t) => t.curve === at.curve && t.point === at.point);
  const excluded = (f) => data.left_out.some((l) => f >= l.from && f <= l.to);

  const sentence = () => {
    const c = data.curves[at.curve], f = x(c)[at.point], v = c.values[at.point], words = data.words;
    const value = v === null ? words.none : figure(v) + " " + data.unit;
    let text = fill(words.value, { curve: c.name, value, x: plain(f) + " " + data.across });
    const here = tight();
    if (here) text += "; " + words.tight + ", " + fill(words.margin, { margin: here.text });
    else if (v !== null && c.margins && c.margins[at.point] !== null)
      text += "; " + fill(words.margin, { margin: figure(c.margins[at.point]) + " " + data.unit });
    if (c.margins && excluded(f)) text += "; " + words.excluded;
    return text + ".";
  };

  const mark = () => {  // the state as the plot shows it
    const c = data.curves[at.curve], y = c.values[at.point];
    plot.setCursor({ left: plot.valToPos(x(c)[at.point], "x"), top: y === null ? -10 : plot.valToPos(y, "y") }, false);
  };

  const weigh = () => {
    list.querySelectorAll("button").forEach((b) => b.setAttribute("aria-pressed", String(Number(b.value) === at.curve)));
    data.curves.forEach((c, i) => {
      const chosen = i === at.curve, s = plot.series[i + 1];
      s.width = chosen ? 2.5 : 1; s.alpha = chosen ? 1 : c.dim ? 0.3 : 0.5; s.show = !hidden.has(i);
    });
    plot.redraw(false);
  };

  const show = (byKey) => {
    weigh(); mark();
    clearTimeout(speak);
    speak = setTimeout(() => { said.textContent = sentence(); }, byKey ? 150 : 0);
  };

  const hatch = (u) => {  // stretches for information only, marks of the tightest points, events
    const { ctx, bbox } = u, css = getComputedStyle(document.documentElement);
    const ink = css.getPropertyValue("--ink").trim(), soft = css.getPropertyValue("--soft").trim();
    ctx.save();
    ctx.beginPath(); ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height); ctx.clip();
    ctx.strokeStyle = soft; ctx.lineWidth = 1; ctx.globalAlpha = 0.5;
    for (const l of data.left_out) {
      const from = u.valToPos(l.from, "x", true), to = Math.max(from + 3, u.valToPos(l.to, "x", true));
      ctx.save();
      ctx.beginPath(); ctx.rect(from, bbox.top, to - from, bbox.height); ctx.clip();
      ctx.beginPath();
      for (let d = from - bbox.height; d < to; d += 9) { ctx.moveTo(d, bbox.top + bbox.height); ctx.lineTo(d + bbox.height, bbox.top); }
      ctx.stroke();
      ctx.restore();
    }
    ctx.globalAlpha = 1; ctx.fillStyle = ink; ctx.strokeStyle = ink;
    const ratio = devicePixelRatio || 1;
    ctx.font = `${12 * ratio}px sans-serif`; ctx.textAlign = "left"; ctx.textBaseline = "middle";
    for (const m of data.marks) {
      const px = u.valToPos(m.x, "x", true);
      ctx.setLineDash([4 * ratio, 4 * ratio]);
      ctx.beginPath(); ctx.moveTo(px, bbox.top); ctx.lineTo(px, bbox.top + bbox.height); ctx.stroke();
      ctx.save(); ctx.translate(px + 12 * ratio, bbox.top + 8 * ratio); ctx.rotate(Math.PI / 2); ctx.fillText(m.text, 0, 0); ctx.restore();
    }
    ctx.setLineDash([]);
    data.tight.forEach((t, n) => {
      if (hidden.has(t.curve)) return;
      const c = data.curves[t.curve], y = c.values[t.point];
      if (y === null) return;
      ctx.beginPath(); ctx.arc(u.valToPos(x(c)[t.point], "x", true), u.valToPos(y, "y", true), (n ? 3 : 6) * ratio, 0, 7);
      n ? ctx.fill() : (ctx.lineWidth = 2 * ratio, ctx.stroke());
    });
    ctx.restore();
  };

  const draw = () => {
    if (plot) plot.destroy();
    const css = getComputedStyle(document.documentElement);
    const ink = css.getPropertyValue("--ink").trim(), line = css.getPropertyValue("--line").trim();
    const palette = colours(), rows = laid();
    const ticks = { stroke: ink, grid: { stroke: line, width: 1 }, ticks: { stroke: line, width: 1 }, font: "13px sans-serif", labelFont: "13px sans-serif" };
    const [first, last] = [rows[0][0], rows[0][rows[0].length - 1]];
    plot = new uPlot({
      width: box.clientWidth, height: Math.max(300, Math.min(520, Math.round(innerHeight * 0.55))),
      scales: { x: { time: false, ...(data.log && first > 0 ? { distr: 3, log: 10 } : {}), range: () => zoomed || [first, last] } },
      legend: { show: false }, cursor: { drag: { x: true, y: false, setScale: false }, points: { size: 7 } },
      axes: [{ ...ticks, label: data.across, values: (_, v) => v.map((n) => (n === null ? "" : plain(n))) },
             { ...ticks, label: data.parameter + ", " + data.unit, size: 60, values: (_, v) => v.map(plain) }],
      series: [{}, ...data.curves.map((c, i) => ({ label: c.name, stroke: palette[i % palette.length], width: 1, points: { show: false }, dash: c.dim ? [6, 4] : undefined })),
               { label: "limit", stroke: ink, width: 2, dash: [10, 5], points: { show: false } }],
      hooks: {
        draw: [hatch],
        setSelect: [(u) => {
          if (u.select.width > 8) zoom([u.posToVal(u.select.left, "x"), u.posToVal(u.select.left + u.select.width, "x")]);
          u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
        }],
      },
    }, rows, box);
    plot.over.addEventListener("mousemove", () => {
      if (plot.cursor.left < 0) return;
      at.point = near(x(data.curves[at.curve]), plot.posToVal(plot.cursor.left, "x"));
      said.textContent = sentence();
    });
    show(false);
  };

  const keys = () => {
    const palette = colours();
    list.replaceChildren(...data.curves.map((c, i) => {
      const item = document.createElement("li"), on = document.createElement("input"), label = document.createElement("label");
      const button = document.createElement("button"), sample = document.createElement("span");
      on.type = "checkbox"; on.checked = !hidden.has(i); on.setAttribute("aria-label", list.dataset.show.replace("{curve}", c.name));
      on.addEventListener("change", () => { on.checked ? hidden.delete(i) : hidden.add(i); weigh(); });
      sample.className = "line"; sample.style.borderTopColor = palette[i % palette.length];
      label.className = "choice"; label.append(on, sample);
      button.type = "button"; button.className = "plain"; button.value = String(i);
      const worst = data.tight.find((t) => t.curve === i);
      button.textContent = c.name + (worst ? ": " + worst.text : "");
      button.addEventListener("click", () => { at = { curve: i, point: worst ? worst.point : Math.min(at.point, c.values.length - 1) }; hidden.delete(i); on.checked = true; show(true); });
      item.append(label, button);
      return item;
    }));
  };

  const load = async (keep) => {
    const mine = ++asked, address = new URL(box.dataset.curves, location.href);
    if (chooser) address.searchParams.set(chooser.dataset.name || "parameter", chooser.value);
    if (against && against.value) address.searchParams.set("against", against.value);
    const answer = await fetch(address, { headers: { accept: "application/json" } });
    if (mine !== asked) return;
    if (!answer.ok) { said.textContent = (data ? data.words.failed + " " : "") + answer.status; return; }
    data = await answer.json();
    if (!keep) { hidden = new Set(); zoomed = null; }
    if (!keep || !data.curves[at.curve]) at = data.tight.length ? { ...data.tight[0] } : { curve: 0, point: 0 };
    keys(); draw();
    const told = data.limit_name ? fill(data.words.curves, { count: data.curves.length, limit: data.limit_name }) : fill(data.words.free, { count: data.curves.length });
    clearTimeout(speak);
    said.textContent = [told, ...data.left_out.map((l) => `${plain(l.from)} \u2013 ${plain(l.to)} MHz: ${l.text}.`), data.note, sentence()].filter(Boolean).join(" ");
  };

  // Zoom first, then place the cursor from the index, or it would stand on another frequency.
  const zoom = (range) => { zoomed = range; plot.setData(plot.data, true); show(true); };
  const nearer = (factor) => {
    const all = plot.data[0], here = x(data.curves[at.curve])[at.point], log = data.log && all[0] > 0;
    const to = log ? Math.log : (v) => v, back = log ? Math.exp : (v) => v;
    const [low, high] = [plot.scales.x.min, plot.scales.x.max].map(to), mid = to(here);
    const min = Math.max(all[0], back(mid + (low - mid) * factor)), max = Math.min(all[all.length - 1], back(mid + (high - mid) * factor));
    zoom(max > min ? [min, max] : null);
  };

  const shown = (step) => {  // the next curve that is not hidden
    for (let n = 1; n <= data.curves.length; n += 1) {
      const next = (at.curve + step * n + data.curves.length * n) % data.curves.length;
      if (!hidden.has(next)) { at.curve = next; return; }
    }
  };
  const moves = {
    ArrowLeft: () => { at.point -= 1; }, ArrowRight: () => { at.point += 1; },
    PageUp: () => { at.point -= 10; }, PageDown: () => { at.point += 10; },
    Home: () => { at.point = 0; }, End: () => { at.point = data.curves[at.curve].values.length - 1; },
    ArrowUp: () => shown(-1), ArrowDown: () => shown(1),
    t: () => { if (data.tight.length) { at = { ...data.tight[0] }; } },
    "+": () => nearer(0.6), "-": () => nearer(1 / 0.6), Escape: () => zoom(null),
  };
  const move = (key) => {
    moves[key]();
    at.point = Math.max(0, Math.min(data.curves[at.curve].values.length - 1, at.point));
    show(true);
  };
  box.addEventListener("keydown", (event) => {
    if (!data || event.ctrlKey || event.altKey || event.metaKey || !(event.key in moves)) return;
    event.preventDefault();
    move(event.key);
  });
  if (buttons) buttons.addEventListener("click", (event) => {
    const key = event.target.dataset && event.target.dataset.key;
    if (data && key === "none") { hidden = new Set(data.curves.keys()); hidden.delete(at.curve); keys(); weigh(); }
    else if (data && key === "all") { hidden = new Set(); keys(); weigh(); }
    else if (data && key) move(key);
  });
  if (chooser) chooser.addEventListener("change", () => load(false));
  if (against) against.addEventListener("change", () => load(true));
  dark.addEventListener("change", () => { if (data) { keys(); draw(); } });
  let width = 0;
  new ResizeObserver(() => { if (data && Math.abs(box.clientWidth - width) > 2) { width = box.clientWidth; draw(); } }).observe(box);
  load(false);
})();
