// The window of a cut: speed across, feed upwards, and the bar where to start.
import { svg } from "./dom.js";

const WIDTH = 440;
const HEIGHT = 300;
const LEFT = 62;
const RIGHT = 16;
const TOP = 34;
const BOTTOM = 46;

/** Draw the polygon of all good speeds and feeds. */
export function windowPicture({ corners, unit, start }) {
  const rpms = corners.map((corner) => corner.rpm);
  const feeds = corners.map((corner) => corner.feed);
  const x = scale(Math.min(...rpms), Math.max(...rpms), LEFT, WIDTH - RIGHT);
  const y = scale(0, Math.max(...feeds), HEIGHT - BOTTOM, TOP);
  const around = corners.map((corner) => `${x.at(corner.rpm)} ${y.at(corner.feed)}`).join("L");
  const node = svg("svg", { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, class: "band", role: "img",
    "aria-label": `Good speeds and feeds: ${Math.min(...rpms)} to ${Math.max(...rpms)} rpm, ${Math.min(...feeds)} to ${Math.max(...feeds)} ${unit}. Start at ${start.rpm} rpm with ${start.low} to ${start.high} ${unit}.` });
  for (const feed of y.ticks)
    node.append(line(LEFT, y.at(feed), WIDTH - RIGHT, y.at(feed)), text(LEFT - 8, y.at(feed) + 6, String(feed), "end"));
  for (const rpm of x.ticks)
    node.append(line(x.at(rpm), TOP, x.at(rpm), HEIGHT - BOTTOM), text(x.at(rpm), HEIGHT - BOTTOM + 20, `${rpm / 1000}`, "middle"));
  node.append(
    svg("path", { d: `M${around}Z`, fill: "#cfe6e2", stroke: "#0d6359", "stroke-width": 3, "fill-opacity": 0.85 }),
    svg("path", { d: `M${x.at(start.rpm)} ${y.at(start.low)}V${y.at(start.high)}`, stroke: "#10171d", "stroke-width": 9 }),
    text(x.at(start.rpm) + 12, y.at((start.low + start.high) / 2) + 6, "start here", "start"),
    text(4, 20, `feed, ${unit}`, "start"),
    text(WIDTH - RIGHT, HEIGHT - 6, "speed, thousand rpm", "end"));
  return node;
}

/** A straight scale with some four round ticks. */
function scale(low, high, from, to) {
  const span = high - low || 1;
  const rough = span / 4;
  const ten = 10 ** Math.floor(Math.log10(rough));
  const step = ten * [1, 2, 5, 10].find((times) => times * ten >= rough);
  const ticks = [];
  for (let tick = Math.ceil(low / step) * step; tick <= high + step / 1e6; tick += step) ticks.push(tick);
  return { at: (value) => from + ((value - low) / span) * (to - from), ticks };
}

function line(x1, y1, x2, y2) {
  return svg("path", { d: `M${x1} ${y1}L${x2} ${y2}`, stroke: "#aab4bc", "stroke-width": 1 });
}

function text(x, y, words, anchor) {
  const node = svg("text", { x, y, "text-anchor": anchor });
  node.append(words);
  return node;
}
