// Questions to the desk's own server.

// An answer that is no answer but a sentence on what is wrong.
export class Problem extends Error {}

export async function ask(path, question) {
  let response;
  try {
    response = await fetch(path, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(question) });
  } catch {
    throw new Problem("The desk does not answer: is endpin still running?");
  }
  const text = await response.text();
  if (response.ok) return JSON.parse(text);
  let words = text;
  try { words = JSON.parse(text).problem; } catch { /* It was plain text. */ }
  throw new Problem(words);
}

export const byId = id => document.getElementById(id);

// A new element with text, a class and what it does when pressed.
export function make(name, { text, kind, press, ...attributes } = {}, ...children) {
  const element = document.createElement(name);
  if (text !== undefined) element.textContent = text;
  if (kind) element.className = kind;
  if (press) element.addEventListener("click", press);
  if (name === "button") element.type = "button";
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

// Names with the signs that readers know.
export const signs = name => name.replace(/^([A-G])(b+|#+)/, (_, letter, marks) => letter + marks.replaceAll("b", "♭").replaceAll("#", "♯"));
export const chordSigns = words => words.split(" ").map(word => signs(word).replace(/\/([A-G])(b|#)/, (_, letter, mark) => `/${letter}${mark === "b" ? "♭" : "♯"}`)).join(" ");
