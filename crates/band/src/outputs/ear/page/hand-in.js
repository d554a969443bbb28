
// The learner's answers: kept over a reload where the browser lets us, and handed in as a file or a code.

const handIn = document.getElementById("hand-in"), learner = document.getElementById("name");
const fields = [...document.querySelectorAll(".item input")];
const numberOf = field => Number(field.closest(".item").querySelector("[data-number]").dataset.number);
const place = `endpin answers ${handIn.dataset.set}`;

function answers() {
  const found = fields.filter(field => field.type === "radio" ? field.checked : field.value.trim());
  return found.map(field => ({ number: numberOf(field), answer: field.value.trim() }));
}

function given() {
  return JSON.stringify({ format: "endpin-given/1", set: handIn.dataset.set, name: learner.value.trim(), given: answers() });
}

function changed() {
  const items = document.querySelectorAll(".item").length;
  document.getElementById("answered").textContent = `${answers().length} of ${items} answered`;
  document.getElementById("coded").hidden = true;
  try { localStorage.setItem(place, given()); } catch { /* Then they last as long as the page is open. */ }
}

function recall() {
  let kept;
  try { kept = JSON.parse(localStorage.getItem(place)); } catch { /* Nothing is kept. */ }
  if (!kept) return;
  learner.value = kept.name;
  for (const { number, answer } of kept.given) {
    for (const field of fields.filter(field => numberOf(field) === number)) {
      if (field.type === "text") field.value = answer;
      else field.checked = field.value === answer;
    }
  }
}

document.getElementById("save").addEventListener("click", () => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([given()], { type: "application/json" }));
  const words = learner.value.toLowerCase().match(/[\p{L}\p{N}]+/gu) || ["my"];
  link.download = `${words.join("-")}-given.json`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
});

document.getElementById("code").addEventListener("click", () => {
  const bytes = new TextEncoder().encode(given());
  const text = btoa(Array.from(bytes, byte => String.fromCharCode(byte)).join(""));
  const copy = document.getElementById("copy");
  copy.value = "given:" + text.replaceAll("+", "-").replaceAll("/", "_").replaceAll("=", "");
  document.getElementById("coded").hidden = false;
  copy.focus();
  copy.select();
});

document.addEventListener("input", changed);
recall();
changed();
