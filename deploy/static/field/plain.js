// A plain message in place of the page, for devices on which nothing can be kept.

import { el } from "./dom.js";

// Why work cannot be kept here; "" when it can. Said plainly, since nothing would be worse than seeming to keep it.
export function cannot() {
  if (!window.isSecureContext)
    return (
      "This address is not encrypted (https), so the browser keeps nothing safely here. Open " +
      "the site by its https address, or use the ordinary pages while you have a connection."
    );
  if (!("indexedDB" in window) || !window.crypto?.subtle)
    return (
      "This browser offers no storage for it. Use a current browser, or the ordinary pages " +
      "while you have a connection."
    );
  return "";
}

export function plainly(title, text) {
  document.getElementById("field").replaceChildren(
    el(
      "div.alone.wider",
      {},
      el("h1", {}, title),
      el("p", {}, text),
      el("p", {}, el("a.button", { href: "/jobs/" }, "Ordinary pages")),
    ),
  );
}
