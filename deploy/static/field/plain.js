// A plain message in place of the page, for devices on which nothing can be kept.

import { el } from "./dom.js";

// Why work cannot be kept here; "" when it can. Said plainly, since nothing would be worse than seeming to keep it.
export function cannot() {
  if (!window.isSecureContext)
    return (
      "This address is not encrypted (https), so nothing can be stored safely here. Open " +
      "the site by its https address, or use the full site while you are connected."
    );
  if (!("indexedDB" in window) || !window.crypto?.subtle)
    return "This browser has no suitable storage. Use a current browser, or the full site while you are connected.";
  return "";
}

export function plainly(title, text) {
  document
    .getElementById("field")
    .replaceChildren(
      el(
        "div.alone.wider",
        {},
        el("h1", {}, title),
        el("p", {}, text),
        el("p", {}, el("a.button", { href: "/jobs/" }, "Full site")),
      ),
    );
}
