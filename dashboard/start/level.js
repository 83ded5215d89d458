// A tub whose level is dragged, stepped or set by keys: a slider (WAI-ARIA 1.2) in the shape of what it measures.
// One unit of the drawing is a millimetre, its base at y = 0.
const KEYS = { ArrowUp: 1, ArrowRight: 1, ArrowDown: -1, ArrowLeft: -1, PageUp: 10, PageDown: -10 };
const SETTLED_MS = 300; // a key held down is said once

export default function ({ parentElement, data, setStateValue }) {
  const part = (name) => parentElement.querySelector(`.${name}`);
  const { depth_mm: depth, base_mm: base, top_mm: top, band_mm: band, words } = data;
  const drawing = part("tub");
  const margin = 0.04 * depth + 3;
  const half = (level) => (base + ((top - base) * level) / depth) / 2;
  const widest = Math.max(base, top) / 2;
  const knob = 0.12 * depth;
  let level = part("level").dataset.level ? Number(part("level").dataset.level) : data.level_mm;
  let waiting;

  const set = (name, values) => {
    for (const [key, value] of Object.entries(values)) part(name).setAttribute(key, value);
  };
  const show = () => {
    const at = level ?? 0.4 * depth; // drawn where a dough may stand until somebody has said where
    const [foot, edge] = [half(0), half(at)];
    set("dough", { points: `${-foot},0 ${foot},0 ${edge},${-at} ${-edge},${-at}` });
    set("edge", { x1: -edge, x2: widest + knob, y1: -at, y2: -at });
    set("knob", { cx: widest + knob, cy: -at, r: knob });
    set("arrows", { transform: `translate(${widest + knob} ${-at}) scale(${knob / 10})` });
    drawing.classList.toggle("unsaid", level === null);
    const said = level === null ? words.unsaid : words.level.replace("{n}", Math.round(level));
    set("tub", { "aria-valuenow": Math.round(at), "aria-valuetext": said });
    part("number").textContent = level === null ? "?" : Math.round(level);
  };
  const put = (wanted) => {
    level = Math.min(depth, Math.max(0, Math.round(wanted)));
    part("level").dataset.level = level;
    show();
  };
  const tell = () => setStateValue("level_mm", level);
  const tellSettled = () => {
    clearTimeout(waiting);
    waiting = setTimeout(tell, SETTLED_MS);
  };
  const step = (by) => {
    put((level ?? 0.4 * depth) + by);
    tellSettled();
  };

  set("tub", {
    viewBox: `${-widest - margin} ${-depth - margin} ${2 * widest + 2 * margin + 2 * knob} ${depth + 2 * margin}`,
    "aria-label": words.label,
    "aria-valuemin": 0,
    "aria-valuemax": Math.round(depth),
  });
  set("walls", { points: `${-half(depth)},${-depth} ${-half(0)},0 ${half(0)},0 ${half(depth)},${-depth}` });
  const bandAt = band === null ? 0 : Math.min(band, depth);
  set("band", { x1: -half(bandAt) - 4, x2: half(bandAt) + 4, y1: -bandAt, y2: -bandAt });
  part("band").style.display = band === null ? "none" : "";
  const every = depth > 120 ? 50 : 20;
  part("ticks").replaceChildren(
    ...Array.from({ length: Math.floor(depth / every) }, (_, k) => {
      const tick = document.createElementNS("http://www.w3.org/2000/svg", "text");
      tick.textContent = (k + 1) * every;
      tick.setAttribute("x", -half((k + 1) * every) + 4);
      tick.setAttribute("y", -(k + 1) * every + 0.02 * depth);
      tick.setAttribute("font-size", 0.065 * depth);
      return tick;
    }),
  );
  for (const [name, by, label] of [["more", 1, words.more], ["less", -1, words.less]]) {
    set(name, { "aria-label": label });
    part(name).onclick = () => step(by);
  }
  const levelAt = (event) => {
    const box = drawing.getBoundingClientRect();
    const view = drawing.viewBox.baseVal;
    const scale = Math.min(box.width / view.width, box.height / view.height);
    const top = box.top + (box.height - view.height * scale) / 2;
    return -(view.y + (event.clientY - top) / scale);
  };
  drawing.onpointerdown = (event) => {
    event.preventDefault(); // else the page's words are marked on the way
    drawing.focus();
    drawing.setPointerCapture(event.pointerId);
    put(levelAt(event));
  };
  drawing.onpointermove = (event) => {
    if (drawing.hasPointerCapture(event.pointerId)) put(levelAt(event));
  };
  drawing.onpointerup = tell;
  drawing.onkeydown = (event) => {
    const ends = { Home: -depth, End: depth };
    const by = KEYS[event.key] ?? ends[event.key];
    if (by === undefined) return;
    event.preventDefault();
    step(by);
  };
  show();
  return () => clearTimeout(waiting);
}
