// Elements of the page, buttons, and unique names.

function el(tag, about, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(about || {})) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value != null) made.setAttribute(name, value);
  }
  made.append(...children.flat().filter((child) => child != null && child !== false));
  return made;
}
// A second tap while the first is still being written on the phone is the same tap.
const once = (act) => {
  let busy = false;
  return async (event) => {
    event?.preventDefault();
    if (busy) return;
    busy = true;
    try {
      await act();
    } finally {
      busy = false;
    }
  };
};
const button = (words, act, about) => el("button", { type: "button", onclick: once(act), ...about }, words);
const uuid = () => {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 15) | 64;
  b[8] = (b[8] & 63) | 128;
  return [...b]
    .map((n, i) => ([4, 6, 8, 10].includes(i) ? "-" : "") + n.toString(16).padStart(2, "0"))
    .join("");
};
