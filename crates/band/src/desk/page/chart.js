// The chart as one types it: read at each pause, kept in the folder, its faults with what mends them.

import { ask, byId, chordSigns, make } from "./server.js";

// Milliseconds without a keystroke after which a chart is read and kept.
const PAUSE = 250;

export class Chart {
  constructor(desk) {
    this.desk = desk;
    this.field = byId("text");
    // What the folder holds, so far as we know.
    this.base = "";
    this.turn = 0;
    this.field.addEventListener("input", () => {
      this.remember();
      document.body.dataset.unkept = "";
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.pause(), PAUSE);
    });
    byId("charts").addEventListener("change", event => this.leaveTo(() => this.show(event.target.value)));
    byId("forms").addEventListener("change", event => {
      const form = this.forms[event.target.value];
      event.target.value = "";
      if (form) this.leaveTo(() => this.start(form.text));
    });
    byId("keys").addEventListener("change", event => this.move(event.target.value));
    byId("take-theirs").addEventListener("click", () => {
      this.base = this.theirs;
      this.settle(this.theirs);
    });
    byId("keep-mine").addEventListener("click", () => {
      this.base = this.theirs;
      this.settle(this.field.value);
    });
  }

  async begin(charts, forms) {
    this.forms = forms;
    byId("forms").append(...forms.map((form, index) => make("option", { text: form.name, value: index })));
    this.list(charts);
    const name = this.desk.state.name || charts[0];
    if (name) await this.open(name);
    else await this.start(localStorage.getItem("desk:") || forms[0].text);
  }

  list(charts) {
    this.charts = charts;
    const names = this.desk.state.name && !charts.includes(this.desk.state.name) ? [...charts, this.desk.state.name] : charts;
    byId("charts").replaceChildren(...names.map(name => make("option", { text: name, value: name })));
    if (!names.length) byId("charts").append(make("option", { text: "nothing yet", value: "" }));
    byId("charts").value = this.desk.state.name || "";
  }

  // What was typed stays in this browser until the folder has it.
  remember() {
    localStorage.setItem(`desk:${this.desk.state.name || ""}`, JSON.stringify({ text: this.field.value, base: this.base }));
  }

  async leaveTo(next) {
    clearTimeout(this.timer);
    if (this.field.value !== this.base) await this.keep();
    await next();
  }

  async show(name) {
    if (!name) return;
    this.desk.state.decisions = [];
    this.desk.state.other = "";
    this.desk.change({ name });
    await this.open(name);
  }

  async open(name) {
    if (!name) return this.start(this.forms[0].text);
    let text;
    try {
      ({ text } = await ask("/chart/open", { name }));
    } catch (problem) {
      byId("saved").textContent = problem.message;
      return this.start(this.forms[0].text);
    }
    this.desk.change({ name }, { quietly: true });
    this.base = text;
    const draft = JSON.parse(localStorage.getItem(`desk:${name}`) || "null");
    const isNewer = draft && draft.base === text && draft.text !== text;
    this.field.value = isNewer ? draft.text : text;
    this.list(this.charts.includes(name) ? this.charts : [name, ...this.charts]);
    byId("saved").textContent = isNewer ? "What was typed last is back." : `${name} is open.`;
    await this.read();
    if (isNewer) await this.keep();
  }

  // A chart that the folder does not have yet.
  async start(text) {
    const draft = text.startsWith("{") ? JSON.parse(text).text : text;
    this.desk.state.decisions = [];
    this.desk.state.other = "";
    this.desk.change({ name: null }, { quietly: true });
    this.base = "";
    this.field.value = draft;
    byId("saved").textContent = "Not kept yet: it is kept as soon as you change it.";
    await this.read();
  }

  async pause() {
    await this.read();
    await this.keep();
  }

  async keep() {
    if (!byId("conflict").hidden) return;
    if (this.field.value === this.base) {
      delete document.body.dataset.unkept;
      return;
    }
    const text = this.field.value, name = this.desk.state.name;
    const kept = await ask("/chart/keep", { name, text, base: this.base });
    if (kept.changed !== undefined) {
      this.theirs = kept.changed;
      byId("theirs").textContent = kept.changed;
      byId("conflict").hidden = false;
      byId("saved").textContent = "Not kept: see below.";
      return;
    }
    localStorage.removeItem(`desk:${name || ""}`);
    this.base = text;
    if (!name) {
      this.desk.change({ name: kept.saved }, { quietly: true });
      this.list([kept.saved, ...this.charts]);
    }
    byId("saved").textContent = `Kept as ${kept.saved}.`;
    // Typed meanwhile: kept at its own pause.
    if (this.field.value === text) delete document.body.dataset.unkept;
    else this.remember();
  }

  async settle(text) {
    byId("conflict").hidden = true;
    this.field.value = text;
    await this.pause();
    this.field.focus();
  }

  async move(key) {
    const { text } = await ask("/chart/move", { text: this.field.value, key });
    this.desk.state.decisions = [];
    this.desk.state.other = "";
    this.put(0, this.field.value.length, text);
  }

  // Puts text in the place of other text, so that the browser's own undo takes it back.
  put(from, to, text) {
    this.field.focus();
    this.field.setSelectionRange(from, to);
    if (!document.execCommand("insertText", false, text)) {
      this.field.setRangeText(text, from, to, "end");
      this.field.dispatchEvent(new Event("input"));
    }
    clearTimeout(this.timer);
    return this.pause();
  }

  async read() {
    const text = this.field.value, turn = ++this.turn;
    const view = await ask("/chart/read", { text });
    // Something was typed meanwhile.
    if (turn !== this.turn) return;
    this.showFaults(text, view.faults);
    this.showBars(view.sections);
    byId("remarks").replaceChildren(...view.remarks.map(text => make("li", { text })));
    byId("keys").replaceChildren(...view.keys.map(key => make("option", { text: chordSigns(key), value: key })));
    byId("keys").disabled = !view.key;
    if (view.key) byId("keys").value = view.key;
    byId("meaning").hidden = !view.meanings.length;
    byId("meaning").querySelector("tbody").replaceChildren(...view.meanings.flatMap(meaning => [
      make("tr", {}, ...[meaning.bar, chordSigns(meaning.symbol), meaning.function, meaning.scale, meaning.notes].map(text => make("td", { text }))),
      make("tr", {}, make("td"), make("td", { text: meaning.why, colspan: 4, kind: "hint" })),
    ]));
    if (view.title !== null) this.desk.read(text, view);
    document.body.dataset.faults = view.faults.length;
  }

  showBars(sections) {
    const box = byId("understood");
    box.replaceChildren();
    for (const { name, bars } of sections) {
      if (sections.length > 1) box.append(make("h3", { text: name }));
      for (let first = 0; first < bars.length; first += 4) {
        const row = bars.slice(first, first + 4).map(bar => make("span", { text: bar === null ? "?" : chordSigns(bar), kind: bar === null ? "faulty" : "" }));
        box.append(make("p", { kind: "bars" }, ...row));
      }
    }
  }

  showFaults(text, faults) {
    byId("faults").replaceChildren(...faults.map(fault => {
      const start = text.lastIndexOf("\n", fault.from - 1) + 1;
      const end = text.indexOf("\n", fault.from);
      const stop = end < 0 ? text.length : end, to = Math.min(Math.max(fault.to, fault.from), stop);
      const quoted = make("code", {}, text.slice(start, fault.from), make("mark", { text: text.slice(fault.from, to) || " " }), text.slice(to, stop));
      const acts = make("div", { kind: "acts" }, ...fault.mends.map(mend =>
        make("button", { text: `Write ${mend.text.trim() || "nothing"}`, press: () => this.put(mend.from, mend.to, mend.text) })));
      acts.append(make("button", { text: "Show the place", press: () => {
        this.field.focus();
        this.field.setSelectionRange(fault.from, Math.max(to, fault.from));
      } }));
      return make("li", {}, quoted, make("div", { text: `Line ${fault.line}: ${fault.what}${fault.what.endsWith("?") ? "" : "."}` }), acts);
    }));
  }
}
