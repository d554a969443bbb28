// Handing out and taking in.

import { Record } from "./record.js";
import { ask, byId, chordSigns, make, Problem, signs } from "./server.js";

export class Hand {
  constructor(line, hear) {
    this.line = line;
    new Record(hear, (file, beats) => this.take(file, beats));
    byId("hand-all").addEventListener("click", () => this.out(false));
    byId("hand-class").addEventListener("click", () => this.out(true));
    byId("class").addEventListener("change", () => this.keepClass());
    byId("ladder").addEventListener("toggle", () => this.ladder());
    byId("take").addEventListener("change", event => event.target.files.length && this.take(event.target.files[0]));
    byId("code").addEventListener("input", event => event.target.value.trim() && this.mark(event.target.value, "The code"));
    document.addEventListener("dragover", event => {
      if (![...event.dataTransfer.types].includes("Files")) return;
      event.preventDefault();
      document.body.classList.add("dropping");
    });
    document.addEventListener("dragleave", event => event.relatedTarget || document.body.classList.remove("dropping"));
    document.addEventListener("drop", event => {
      document.body.classList.remove("dropping");
      if (!event.dataTransfer.files.length) return;
      event.preventDefault();
      this.take(event.dataTransfer.files[0]);
    });
  }

  async begin() {
    const { class: text, sets, back } = await ask("/handed-out", {});
    byId("class").value = text;
    this.show(sets);
    this.showBack(back);
  }

  async keepClass() {
    try {
      const { students } = await ask("/class", { text: byId("class").value });
      byId("handed").textContent = `The class has ${students} ${students === 1 ? "student" : "students"}.`;
      return true;
    } catch (problem) {
      byId("handed").textContent = problem.message;
      return false;
    }
  }

  async out(isClass) {
    const what = [...byId("what").querySelectorAll(":checked")].map(box => box.value);
    if (isClass && !await this.keepClass()) return;
    byId("handed").textContent = "Being made.";
    let made;
    try {
      made = await ask("/hand-out", { line: this.line.wishes(), choruses: Number(byId("choruses").value) || 1, what, class: isClass });
    } catch (problem) {
      byId("handed").textContent = problem.message;
      return;
    }
    const files = made.sets.flatMap(set => set.files).length;
    const links = made.links ? ` ${made.links} leads to all of them.` : "";
    byId("handed").textContent = [`${files} files are in the folder handed-out.${links}`, ...made.problems].join(" ");
    this.show((await ask("/handed-out", {})).sets);
  }

  // The steps to richer changes, before they are handed out.
  async ladder() {
    const list = byId("ladder").querySelector("ol");
    if (!byId("ladder").open) return;
    try {
      const { steps, shortfall } = await ask("/changes", this.line.wishes());
      list.replaceChildren(...steps.map(({ bar, was, is, name, why }) => make("li", {},
        make("b", { text: `Bar ${bar}: ` }), `${was.map(chordSigns).join(" ")} becomes ${is.map(chordSigns).join(" ")}, ${name}. ${chordSigns(why)}`)),
      ...shortfall ? [make("li", { text: shortfall })] : []);
    } catch (problem) {
      list.replaceChildren(make("li", { text: problem.message }));
    }
  }

  // The last first.
  show(sets) {
    const day = new Intl.DateTimeFormat(undefined, { dateStyle: "medium", timeStyle: "short" });
    byId("sets").replaceChildren(...sets.toReversed().slice(0, 60).map(set => make("li", {},
      make("div", { text: `${day.format(new Date(set.when * 1000))}: ${set.chart}${set.student ? ` for ${set.student}` : ""}, in ${signs(set.about)}` }),
      ...set.files.flatMap(file => [
        make("a", { text: file, href: `/out/${file}`, target: "_blank", rel: "noopener" }),
        ...file.endsWith(".flac") ? [make("audio", { src: `/out/${file}`, controls: "", preload: "none", "aria-label": file })] : [],
      ]))));
  }

  // By student, the last first, so that one sees how it goes over the weeks.
  showBack(back) {
    const day = new Intl.DateTimeFormat(undefined, { dateStyle: "medium" });
    byId("back-heading").hidden = !back.length;
    const students = Map.groupBy(back.toReversed(), one => one.student || "Nameless");
    byId("back").replaceChildren(...[...students].sort(([a], [b]) => a.localeCompare(b)).map(([student, all]) => make("details", {},
      make("summary", { text: `${student}: ${all.length}, last on ${day.format(new Date(all[0].when * 1000))}` }),
      make("ul", {}, ...all.map(one => {
        const words = `${day.format(new Date(one.when * 1000))}: ${one.what}, ${one.right} of ${one.of} ${one.counted === "notes" ? "notes stand" : "answers right"} `;
        return make("li", { text: words }, ...one.page ? [make("a", { text: "the verdict", href: `/out/${one.page}`, target: "_blank", rel: "noopener" })] : []);
      })))));
  }

  // Answers to questions, as a file or a code.
  async mark(text, name) {
    const told = byId("judged");
    told.textContent = `${name} is being marked.`;
    byId("verdict").replaceChildren();
    let found;
    try {
      found = await ask("/answers", { text });
    } catch (problem) {
      told.textContent = `${name}: ${problem.message}`;
      return;
    }
    byId("code").value = "";
    const { what, marked } = found;
    const left = marked.of - marked.answered;
    told.textContent = `${marked.name || "Nameless"}, ${what}: ${marked.right} of ${marked.of} right${left ? `, ${left} not answered` : ""}.`;
    byId("verdict").replaceChildren(
      make("ul", {}, ...Object.entries(marked.kinds).map(([kind, { right, of }]) => make("li", { text: `${kind}: ${right} of ${of}` }))),
      ...marked.next.length ? [make("p", { text: "To hear next:" })] : [],
      make("ul", {}, ...marked.next.map(next => make("li", { text: `${next.topic} (${next.right} of ${next.of} right), in ${next.numbers.join(", ")}` }))),
      make("details", {}, make("summary", { text: "What was missed" }),
        make("ol", {}, ...marked.missed.map(one => make("li", { value: one.number, text: `${one.given ?? "no answer"}; it is ${one.answer}: ${one.why}` })))));
    this.showBack((await ask("/handed-out", {})).back);
  }

  // A file that was brought, or recorded here: then with the beats that were heard in it, in milliseconds.
  async take(file, beats = []) {
    const told = byId("judged");
    if (file.name.endsWith(".json") || file.type === "application/json") return this.mark(await file.text(), file.name);
    told.textContent = `${file.name} is being heard.`;
    byId("verdict").replaceChildren();
    const over = JSON.stringify({ line: this.line.wishes(), file: file.name, student: byId("player-name").value, beats });
    let judged;
    try {
      const response = await fetch("/take", { method: "POST", headers: { "Content-Type": "application/octet-stream" }, body: new Blob([over, "\n", file]) });
      judged = await response.json();
      if (!response.ok) throw new Problem(judged.problem);
    } catch (problem) {
      told.textContent = problem.message;
      return;
    }
    const take = judged.verdict.takes ? judged.verdict.takes[judged.verdict.takes.length - 1] : judged.verdict;
    const off = take.notes.filter(note => note.rules_broken && note.rules_broken.length);
    told.textContent = `${file.name}: ${take.notes.length} notes, ${off.length} of them against a rule.`;
    byId("verdict").replaceChildren(
      make("p", {}, make("a", { text: "The whole verdict, on the staff", href: `/out/${judged.page}`, target: "_blank", rel: "noopener" })),
      make("ul", {}, ...off.slice(0, 12).map(note => make("li", { text: `Bar ${note.bar}, beat ${note.beat}: ${signs(note.name)}. ${note.why}` }))));
    this.showBack((await ask("/handed-out", {})).back);
  }
}
