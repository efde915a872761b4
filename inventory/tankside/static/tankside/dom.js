// Small helpers to build a page.
//
// Exports
//   h(tag, props, ...children)  an element. props: class, on (handlers by name), anything else an attribute;
//                     true is an empty attribute, false and null are left out
//   show(title, ...children)    draws the main part: a heading that takes the focus, then children
//   say(words)        tells it to a screen reader, without a mark on the page
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

export function show(title, ...children) {
  const heading = h("h1", { tabindex: "-1" }, title);
  main.replaceChildren(heading, ...children.flat(Infinity).filter(Boolean));
  document.title = `${heading.textContent} · Tidetally`;
  scrollTo(0, 0);
  heading.focus({ preventScroll: true });
}

export function say(words) {
  said.textContent = words;
}

export function button(words, act, props = {}) {
  return h("button", { type: "button", ...props, on: { click: act } }, words);
}
