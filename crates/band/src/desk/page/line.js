// The line on the staff: narrowed note by note, each reason under its note.

import { ask, byId, chordSigns, make, signs } from "./server.js";

// A decision as the address holds it: `keep 3.1=A2`, `not 3.2=B2`, `rest 4.3`, `as 5 3 5.1=F2 5.2=A2`.
function decided(decision) {
  const [kind, ...rest] = decision.split(" ");
  return kind === "as" ? { kind, bar: rest[0], of: rest[1], notes: rest.slice(2) } : { kind, notes: rest };
}

const place = text => text.split("=")[0];

function words(decision) {
  const { kind, bar, of, notes } = decided(decision);
  if (kind === "as") return `Bar ${bar} as bar ${of}`;
  const [at, name] = notes[0].split("="), [inBar, beat] = at.split(".");
  const where = `bar ${inBar}, beat ${beat}`;
  return { keep: `${signs(name || "")} kept in ${where}`, not: `No ${signs(name || "")} in ${where}`, rest: `A rest in ${where}` }[kind];
}

// In a hundred places.
const SHARES = ["5", "10", "20", "40"];

export class Line {
  constructor(desk, hear) {
    Object.assign(this, { desk, hear, counts: new Map(), turn: 0, touched: null, drawn: null });
    for (const [id, key] of [["level", "level"], ["feel", "feel"], ["instrument", "instrument"], ["lowest", "lowest"], ["highest", "highest"], ["seed", "seed"]])
      byId(id).addEventListener("change", event => desk.change({ [key]: event.target.value.trim(), other: "" }));
    byId("manner").addEventListener("change", event => desk.change({ manner: event.target.value, other: "" }));
    byId("liberties").addEventListener("change", () => desk.change({ loose: this.loose(), other: "" }));
    byId("anew").addEventListener("click", () => desk.change({ seed: String(Number(desk.state.seed) + 1), other: "" }));
    byId("forget").addEventListener("click", () => desk.change({ decisions: [], other: "" }));
    byId("music").addEventListener("keydown", event => this.walk(event));
  }

  // Liberties and manners to choose from.
  offer(liberties, manners) {
    byId("manners").hidden = !manners.length;
    byId("manner").append(...manners.map(name => make("option", { text: name.replace(/\.toml$/, ""), value: name })));
    byId("liberties").append(...liberties.map(({ name, words }) => {
      const shares = make("select", { "data-liberty": name }, make("option", { text: "none", value: "" }), ...SHARES.map(share => make("option", { text: share })), make("option", { text: "as it comes", value: "free" }));
      return make("label", {}, shares, words.replace("a liberty: ", ""));
    }));
  }

  // As the address and the command have them: `inverted:20,passing`.
  loose() {
    const chosen = [...byId("liberties").querySelectorAll("select")].filter(shares => shares.value);
    return chosen.map(({ value, dataset }) => value === "free" ? dataset.liberty : `${dataset.liberty}:${value}`).join(",");
  }

  showLoose() {
    const { loose, manner } = this.desk.state, all = new Map(loose.split(",").map(part => part.split(":")));
    for (const shares of byId("liberties").querySelectorAll("select")) {
      const name = shares.dataset.liberty, value = loose === "all" ? "free" : all.has(name) ? all.get(name) ?? "free" : "";
      if (![...shares.options].some(option => option.value === value)) shares.append(make("option", { text: value }));
      shares.value = value;
    }
    if (manner && ![...byId("manner").options].some(option => option.value === manner)) byId("manner").append(make("option", { text: manner }));
    byId("manner").value = manner;
  }

  // What the server is asked, with the first so many decisions.
  wishes(decisions = this.desk.state.decisions, other = this.desk.state.other) {
    const { seed, level, feel, instrument, lowest, highest, loose, manner } = this.desk.state;
    const all = decisions.map(decided), of = (...kinds) => all.filter(({ kind }) => kinds.includes(kind)).flatMap(({ notes }) => notes);
    const [bars, way] = other.split(".");
    return {
      text: this.desk.text, seed: Number(seed) || 0, level: Number(level),
      feel: feel || null, instrument: instrument || null, lowest: lowest || null, highest: highest || null, loose: loose || null, manner: manner || null,
      keep: of("keep", "as"), refuse: of("not"), rest: of("rest"), other: other ? [bars, Number(way)] : null,
    };
  }

  async draw() {
    const { state } = this.desk, turn = ++this.turn;
    // What is asked for, beside what stands there: the page is settled where they are the same.
    document.body.dataset.asked = turn;
    for (const id of ["level", "feel", "instrument", "lowest", "highest", "seed"]) byId(id).value = state[id];
    this.showLoose();
    for (const id of ["hint", "wishes", "more", "legend", "hear"]) byId(id).hidden = !this.desk.text;
    if (!this.desk.text) {
      byId("remain").textContent = "The line stands here as soon as the chart can be read.";
      document.body.dataset.drawn = turn;
      return;
    }
    byId("forget").hidden = !state.decisions.length;
    const wishes = this.wishes();
    let view;
    try {
      view = await ask("/line", { name: state.name, line: wishes });
    } catch (problem) {
      view = { none: { why: problem.message, rule: null } };
    }
    if (turn !== this.turn) return;
    if (view.line) this.show(view.line);
    else this.obstruct(view.none);
    this.showDecisions(turn);
    document.body.dataset.drawn = turn;
  }

  show(line) {
    this.drawn = line;
    byId("obstacle").hidden = true;
    const music = byId("music"), { staves, report } = line;
    music.classList.remove("stale");
    music.style.setProperty("--head", staves.head);
    music.style.setProperty("--bar", staves.bar);
    // Engraved and escaped by the desk's own server.
    music.innerHTML = line.markup;
    const kept = new Set(this.desk.state.decisions.map(decided).filter(({ kind }) => kind === "keep" || kind === "as").flatMap(({ notes }) => notes.map(place)));
    const chorus = staves.choruses[0];
    const at = report.notes.map((note, index) => {
      const bar = chorus.bars[note.bar - 1], tick = chorus.notes[index].start - bar.start;
      const found = bar.places.find(([moment]) => moment === tick);
      return found ? found[1] : 0;
    });
    report.notes.forEach((note, index) => {
      const bar = music.querySelector(`.bar[data-bar="${note.bar - 1}"]`);
      if (!bar) return;
      const next = report.notes[index + 1], left = Math.max(0, at[index] - 0.03);
      const right = next && next.bar === note.bar ? at[index + 1] - 0.03 : 1;
      const isKept = kept.has(`${note.bar}.${note.beat}`);
      const button = make("button", {
        kind: isKept ? "note kept" : "note", "data-n": index, "aria-expanded": "false", tabindex: index ? "-1" : "0",
        "aria-label": `${signs(note.name)}, ${note.role}, bar ${note.bar}, beat ${note.beat}${isKept ? ", kept" : ""}`,
        press: () => this.touch(this.touched === index ? null : index),
      });
      button.style.left = `${left * 100}%`;
      button.style.width = `${(right - left) * 100}%`;
      bar.prepend(button);
    });
    // In the order of time, for the keyboard.
    for (const bar of music.querySelectorAll(".bar")) bar.prepend(...[...bar.querySelectorAll(".note")].sort((a, b) => a.dataset.n - b.dataset.n));
    this.tell(line.count);
    byId("command").textContent = line.command;
    this.counts.set(JSON.stringify(this.wishes(undefined, "")), line.count);
    this.hear.show(line, music);
    if (this.touched !== null) this.touch(Math.min(this.touched, report.notes.length - 1), false);
  }

  tell({ words, exact }) {
    const number = make("b", { text: words, id: "count", "data-exact": exact });
    byId("remain").replaceChildren(number, exact === "1" ? " line is left: this one." : exact === "0" ? " lines are left." : " lines are left; this is one of them.");
  }

  obstruct({ why, rule }) {
    byId("music").classList.add("stale");
    const isNone = /rule |cannot be both|no note starts/.test(why);
    byId("obstacle").replaceChildren(make("b", { text: isNone ? "No line is left. " : "" }), why.charAt(0).toUpperCase() + why.slice(1) + ".", rule ? ` The rule asks: ${rule}` : "");
    byId("obstacle").hidden = false;
    if (isNone) this.tell({ words: "0", exact: "0" });
  }

  // Each decision with what remained after it.
  async showDecisions(turn) {
    const { decisions } = this.desk.state, list = byId("kept");
    byId("kept-heading").hidden = !decisions.length;
    const items = decisions.map((decision, index) => {
      const left = make("span", { kind: "left" });
      const go = make("button", { text: "Let go", "aria-label": `Let go: ${words(decision)}`, press: () => this.desk.change({ decisions: decisions.filter((_, other) => other !== index), other: "" }) });
      return { left, item: make("li", {}, make("span", { text: words(decision) }), left, go) };
    });
    const first = { left: make("span", { kind: "left" }), item: make("li", {}, make("span", { text: "All lines of this chart at this level" })) };
    first.item.append(first.left);
    list.replaceChildren(...(decisions.length ? [first, ...items].map(({ item }) => item) : []));
    if (!decisions.length) return;
    for (const [index, { left }] of [first, ...items].entries()) {
      const wishes = this.wishes(decisions.slice(0, index), ""), key = JSON.stringify(wishes);
      if (!this.counts.has(key)) this.counts.set(key, await ask("/line/count", wishes));
      if (turn !== this.turn) return;
      const { words, exact } = this.counts.get(key);
      left.textContent = `${words} left`;
      left.classList.toggle("none", exact === "0");
    }
  }

  // --- One note.
  touch(index, focus = true) {
    this.touched = index;
    document.querySelector(".slip")?.remove();
    for (const button of document.querySelectorAll(".note")) {
      button.setAttribute("aria-expanded", String(Number(button.dataset.n) === index));
      button.tabIndex = Number(button.dataset.n) === (index ?? 0) ? 0 : -1;
    }
    if (index === null) return;
    const button = document.querySelector(`.note[data-n="${index}"]`), slip = this.slip(index);
    if (!button) return;
    const bar = button.closest(".bar"), line = bar.closest(".line");
    // Below the bars that stand side by side: four, two, or one on a phone.
    const width = byId("music").clientWidth;
    (width >= 900 ? line : width >= 600 ? bar.closest(".half") : bar).after(slip);
    const under = button.getBoundingClientRect().left - slip.getBoundingClientRect().left + 12;
    slip.style.setProperty("--under", `${Math.max(0, under)}px`);
    if (focus) button.focus();
  }

  slip(index) {
    const { report, strings } = this.drawn, note = report.notes[index], { decisions } = this.desk.state;
    const at = `${note.bar}.${note.beat}`, add = decision => this.desk.change({ decisions: [...decisions, decision], other: "" });
    const mine = decisions.filter(decision => decided(decision).notes.some(text => place(text) === at));
    const said = make("div", { kind: "said" });
    if (note.string) said.append(neck(note, strings));
    said.append(make("p", {}, make("b", { text: signs(note.name) }), `, ${note.role}${note.approach ? ` and ${note.approach}` : ""} over ${chordSigns(note.chord)}`));
    said.append(make("p", { text: note.why.charAt(0).toUpperCase() + note.why.slice(1) + "." }));
    if (note.string) said.append(make("p", { kind: "hint", text: `${signs(strings[note.string - 1]).replace(/\d/, "")} string, ${note.fret ? `fret ${note.fret}` : "open"}` }));
    const chorus = this.hear.chorus, isEnding = chorus.bars[note.bar - 1].ending;
    const onBeat = Number.isInteger(note.beat) && !isEnding;
    const acts = make("div", { kind: "acts" });
    if (mine.length) acts.append(make("button", { text: "Let it go", press: () => this.desk.change({ decisions: decisions.filter(decision => !mine.includes(decision)), other: "" }) }));
    else if (onBeat) acts.append(
      make("button", { text: "Keep it", press: () => add(`keep ${at}=${note.name}`) }),
      make("button", { text: "Not this one", press: () => add(`not ${at}=${note.name}`) }),
      make("button", { text: "Rest here", press: () => add(`rest ${at}`) }));
    else acts.append(make("p", { kind: "hint", text: isEnding ? "The ending follows the line." : "What lies off the beat is not kept by itself." }));
    said.append(acts);
    if (!isEnding) said.append(this.barActs(note));
    return make("div", { kind: "slip", role: "region", "aria-label": `About ${signs(note.name)} in bar ${note.bar}` }, said);
  }

  barActs(note) {
    const bars = this.hear.chorus.bars.filter(bar => !bar.ending).length, number = value => make("input", { value, size: 2, kind: "number", inputmode: "numeric" });
    const from = number(note.bar), to = number(note.bar), of = number(note.bar > 1 ? note.bar - 1 : 2);
    const range = () => {
      const [a, b] = [from, to].map(input => Math.min(bars, Math.max(1, Number(input.value) || note.bar)));
      return [Math.min(a, b), Math.max(a, b)];
    };
    return make("div", {},
      make("div", { kind: "acts" },
        make("label", { text: "Bars " }, from), make("label", { text: "to " }, to),
        make("button", { text: "Another way here", press: () => this.another(range()) }),
        make("button", { text: "Play these over and over", press: () => this.hear.loop(range()) })),
      make("div", { kind: "acts" },
        make("button", { text: `Bar ${note.bar} as bar`, press: () => this.copy(note.bar, Number(of.value)) }),
        make("label", { "aria-label": "Which bar" }, of)));
  }

  another([from, to]) {
    const bars = from === to ? `${from}` : `${from}-${to}`, [before, way] = this.desk.state.other.split(".");
    this.desk.change({ other: `${bars}.${before === bars ? Number(way) + 1 : 1}` });
  }

  // The notes of another bar, moved by the distance of the two bars' first chords, the octave that is nearest.
  copy(bar, of) {
    const { notes } = this.drawn.report, source = notes.filter(note => note.bar === of && Number.isInteger(note.beat));
    const first = notes.find(note => note.bar === bar);
    if (!source.length || of === bar || !first) return;
    const moved = this.desk.text && source[0].chord !== first.chord ? "as" : "same";
    const shift = moved === "same" ? 0 : first.midi - source[0].midi;
    const flats = /b|♭/.test(first.chord) || /^F/.test(first.chord);
    const names = flats ? ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"] : ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
    const name = midi => `${names[midi % 12]}${Math.floor(midi / 12) - 1}`;
    const pins = source.map(note => `${bar}.${note.beat}=${shift ? name(note.midi + shift) : note.name}`);
    const others = this.desk.state.decisions.filter(decision => !decided(decision).notes.some(text => place(text).split(".")[0] === String(bar)));
    this.desk.change({ decisions: [...others, `as ${bar} ${of} ${pins.join(" ")}`], other: "" });
  }

  // Arrows go from note to note, Escape closes.
  walk(event) {
    const button = event.target.closest(".note");
    if (!button) return;
    const index = Number(button.dataset.n), step = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (event.key === "Escape") return this.touch(null);
    const next = step && document.querySelector(`.note[data-n="${index + step}"]`);
    if (!next) return;
    event.preventDefault();
    if (this.touched !== null) this.touch(index + step);
    button.tabIndex = -1;
    next.tabIndex = 0;
    next.focus();
  }
}

// Where a note lies: strings from the highest down, four frets round the finger.
function neck({ string, fret }, strings) {
  const first = Math.max(0, fret - 2), rows = strings.length, x = at => 16 + (at - first) * 24, y = row => 8 + row * 10;
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "neck");
  svg.setAttribute("viewBox", `0 0 130 ${rows * 10 + 14}`);
  svg.setAttribute("aria-hidden", "true");
  const draw = (name, attributes, text) => {
    const element = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text !== undefined) element.textContent = text;
    svg.append(element);
  };
  for (let row = 0; row < rows; row++) draw("path", { d: `M${x(first)} ${y(row)}H124` });
  for (let at = first; at <= first + 4; at++) {
    draw("path", { d: `M${x(at)} ${y(0)}V${y(rows - 1)}`, "stroke-width": at === 0 ? 3 : 1 });
    if (at > first) draw("text", { x: x(at) - 15, y: rows * 10 + 12 }, at);
  }
  draw("circle", { class: "dot", cx: fret === 0 ? 8 : x(fret) - 12, cy: y(string - 1), r: 4.5 });
  return svg;
}
