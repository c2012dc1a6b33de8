// Every pass against the band: where the chip lies and how sure that is.
import { el, svg } from "./dom.js";

const WIDTH = 440;
const ROW = 34;
const TOP = 30;
const LEFT = 34;
const RIGHT = 24;
const MOST = 6;

/** Draw the last passes on a ratio scale of chip thickness; null without a band. */
export function bandPicture(passes) {
  const judged = passes.filter((pass) => pass.chip_mm && pass.band).slice(-MOST);
  if (!judged.length) return null;
  const band = judged[judged.length - 1].band;
  const ends = judged.flatMap((p) => [p.chip_mm - p.chip_u95_mm, p.chip_mm + p.chip_u95_mm]);
  const low = Math.max(1e-4, Math.min(band.low_mm / 1.6, ...ends)) / 1.05;
  const high = Math.max(band.high_mm * 1.6, ...ends) * 1.05;
  const at = (mm) => LEFT + ((WIDTH - LEFT - RIGHT) * Math.log(Math.max(mm, low) / low)) / Math.log(high / low);
  const height = TOP + ROW * judged.length + 30;
  const words = judged.map((p) => `pass ${p.number} ${p.verdict ?? "not judged"}, ${p.chip}`).join("; ");
  const node = svg("svg", { viewBox: `0 0 ${WIDTH} ${height}`, class: "band", role: "img",
    "aria-label": `Chip thickness against the band of ${band.low} to ${band.high}: ${words}` });
  node.append(
    svg("rect", { x: at(band.low_mm), y: 24, width: at(band.high_mm) - at(band.low_mm), height: height - 50, fill: "#cfe6e2", stroke: "#0d6359", "stroke-width": 2 }),
    text(at(band.low_mm), 17, band.low, "middle"),
    text(at(band.high_mm), 17, band.high, "middle"),
    text(6, height - 6, "too thin", "start"),
    text(WIDTH - 6, height - 6, "too thick", "end"));
  judged.forEach((pass, i) => {
    const y = TOP + ROW * (i + 0.5);
    const newest = i === judged.length - 1;
    node.append(
      text(6, y + 6, String(pass.number), "start"),
      svg("path", { d: `M${at(pass.chip_mm - pass.chip_u95_mm)} ${y}H${at(pass.chip_mm + pass.chip_u95_mm)}`, stroke: "#10171d", "stroke-width": newest ? 5 : 3 }),
      svg("circle", { cx: at(pass.chip_mm), cy: y, r: newest ? 11 : 7, fill: newest ? "#10171d" : "#fff", stroke: "#10171d", "stroke-width": 3 }));
  });
  return node;
}

/** The newest pass in figures: its time, its speed, and its chip load with what is uncertain of it. */
export function figuresOf(pass) {
  const load = pass.chip_load ? `chip load ${pass.chip_load} ± ${pass.chip_load_off}` : "chip load not known";
  return el("p", { class: "small" }, `Pass ${pass.number}: ${pass.time}, ${pass.rpm.toLocaleString("en")} rpm, ${load}.`);
}

function text(x, y, words, anchor) {
  const node = svg("text", { x, y, "text-anchor": anchor });
  node.append(words);
  return node;
}
