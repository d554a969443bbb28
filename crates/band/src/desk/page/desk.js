// The desk: what is asked of the line is kept in the address of the page, and every part reads it there.

import { ask, byId, Problem } from "./server.js";
import { Chart } from "./chart.js";
import { Line } from "./line.js";
import { Hear } from "./hear.js";
import { Hand } from "./hand.js";

// What the address says: the chart by name, the wishes, and one `d` for each decision, in order.
function fromAddress() {
  const query = new URLSearchParams(location.search);
  return {
    name: query.get("chart"),
    seed: query.get("seed") || "1",
    level: query.get("level") || "4",
    feel: query.get("feel") || "",
    instrument: query.get("on") || "",
    lowest: query.get("low") || "",
    highest: query.get("high") || "",
    loose: query.get("loose") || "",
    manner: query.get("manner") || "",
    other: query.get("other") || "",
    decisions: query.getAll("d"),
  };
}

function toAddress(state) {
  const query = new URLSearchParams();
  const put = (key, value, usual) => { if (value && value !== usual) query.set(key, value); };
  put("chart", state.name);
  put("seed", state.seed, "1");
  put("level", state.level, "4");
  put("feel", state.feel);
  put("on", state.instrument);
  put("low", state.lowest);
  put("high", state.highest);
  put("loose", state.loose);
  put("manner", state.manner);
  put("other", state.other);
  for (const decision of state.decisions) query.append("d", decision);
  const words = query.toString();
  return words ? `/?${words}` : "/";
}

export const desk = {
  state: fromAddress(),
  text: "",
  // Changes what is asked. A step back in the browser takes it back.
  change(changes, { quietly = false } = {}) {
    Object.assign(desk.state, changes);
    const address = toAddress(desk.state);
    if (address !== location.pathname + location.search) history[quietly ? "replaceState" : "pushState"](null, "", address);
    line.draw();
  },
  // The chart as typed is a chart: everything follows it.
  read(text, view) {
    desk.text = text;
    byId("title").textContent = view.title;
    document.title = view.title;
    byId("about").textContent = view.about + ".";
    line.draw();
  },
};

const hear = new Hear();
const line = new Line(desk, hear);
const chart = new Chart(desk);
const hand = new Hand(line, hear);

addEventListener("popstate", async () => {
  const before = desk.state.name;
  desk.state = fromAddress();
  if (desk.state.name !== before) await chart.open(desk.state.name);
  line.draw();
});
addEventListener("unhandledrejection", event => {
  if (!(event.reason instanceof Problem)) return;
  event.preventDefault();
  byId("saved").textContent = event.reason.message;
});

const { charts, forms, liberties, manners } = await ask("/charts", {});
line.offer(liberties, manners);
await chart.begin(charts, forms);
await hand.begin();
if (!desk.text) line.draw();
document.body.dataset.ready = "yes";
