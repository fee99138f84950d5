// The few things every part of the page does with the document.

export const at = (id) => document.getElementById(id);

// Writes only what has changed: screen readers and the layout are left alone otherwise.
export function say(id, text) {
  const node = at(id);
  if (node.textContent !== text) node.textContent = text;
}

export function make(tag, properties = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name === "data") Object.assign(node.dataset, value);
    else if (name.startsWith("aria-")) node.setAttribute(name, value);
    else node[name] = value;
  }
  node.append(...children.filter((child) => child !== null));
  return node;
}

// Looked up once for each theme and size of the window: drawings ask hundreds of times a frame.
const looks = new Map();
export const forgetLooks = () => looks.clear();
window.addEventListener("resize", forgetLooks, true);
function look(name, find) {
  if (!looks.has(name)) looks.set(name, find(getComputedStyle(document.documentElement)));
  return looks.get(name);
}

export const colour = (name) => look(name, (style) => style.getPropertyValue(name).trim());

// A canvas as large as its place, sharp on any screen; drawn in CSS pixels.
export function brush(canvas) {
  // A phone's third pixel is not seen, but has to be drawn.
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const width = canvas.clientWidth;
  const height = canvas.clientHeight;
  const wide = Math.round(width * ratio);
  const tall = Math.round(height * ratio);
  if (canvas.width !== wide || canvas.height !== tall) {
    canvas.width = wide;
    canvas.height = tall;
  }
  const paint = canvas.getContext("2d");
  paint.setTransform(ratio, 0, 0, ratio, 0, 0);
  paint.clearRect(0, 0, width, height);
  return { paint, width, height };
}

// Text size of the page, so that drawings grow with a wide screen.
export const rem = () => look("rem", (style) => parseFloat(style.fontSize));

let hush = 0;
// A short word at the bottom: what was done, or why not.
export function tell(text) {
  say("said", text);
  clearTimeout(hush);
  hush = setTimeout(() => say("said", ""), 6000);
}
