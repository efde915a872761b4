// Small helpers to build a page.
//
// Exports
//   h(tag, props, ...children)  an element. props: class, on (handlers by name), anything else an attribute;
//                     true is an empty attribute, false and null are left out
//   turns()           who may draw when several wait: each turn that begins ends the one before it. A turn is a
//                     function wait(promise), which answers what the promise does while the turn lasts, and never
//                     when another has begun meanwhile: what was left neither draws nor leads anywhere
//   view()            begins a turn in the main part, for a view that waits for something before it draws
//   show(title, ...children)    draws the main part: a heading that takes the focus, then children. It begins a
//                     turn and answers its wait(promise)
//   say(words)        tells it to a screen reader, without a mark on the page, after what is still being told. The
//                     words are taken away afterwards, so that the same ones are news when they are said again
//   button(words, act, props)   a button that does act()

const main = document.getElementById("main");
const said = document.getElementById("said");

export function h(tag, props = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (name === "class") element.className = value;
    else if (name === "on") for (const [event, act] of Object.entries(value)) element.addEventListener(event, act);
    else if (name === "value") element.value = value;
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false && child !== ""));
  return element;
}

export function turns() {
  let latest = null;
  return () => {
    const mine = {};
    latest = mine;
    // An error is told all the same: somebody may have to know that something was not kept.
    return (promise) => new Promise((resolve, reject) => {
      Promise.resolve(promise).then((got) => mine === latest && resolve(got), reject);
    });
  };
}

export const view = turns();

export function show(title, ...children) {
  const wait = view();
  const heading = h("h1", { tabindex: "-1" }, title);
  main.replaceChildren(heading, ...children.flat(Infinity).filter(Boolean));
  document.title = `${heading.textContent} · Tidetally`;
  scrollTo(0, 0);
  heading.focus({ preventScroll: true });
  return wait;
}

// Long enough to be noticed before other words take its place; and empty for a moment between the two, for a
// screen reader tells what has changed, and equal words over equal ones are no change.
const STANDS_MS = 1_000;
const EMPTY_MS = 200;
const toSay = [];
let saying = false;

export function say(words) {
  toSay.push(words);
  if (!saying) sayNext();
}

function sayNext() {
  saying = toSay.length > 0;
  if (!saying) return;
  said.textContent = toSay.shift();
  setTimeout(() => {
    said.textContent = "";
    setTimeout(sayNext, EMPTY_MS);
  }, STANDS_MS);
}

export function button(words, act, props = {}) {
  return h("button", { type: "button", ...props, on: { click: act } }, words);
}
