// On the pages of signing out and in: whoever takes the tablet next does not open what is on it. The key goes; sealed
// work stays until its owner has signed in again and fetched a pack.

import { openStore } from "./store.js";

const form = document.querySelector("form");
const place = document.querySelector("[data-sealed]");

if ("indexedDB" in window && window.crypto?.subtle) {
  const store = await openStore().catch(() => null);
  if (store && form) form.addEventListener("submit", () => store.lock());
  if (store && !form) {
    const unsent = await store.unsentOfMine();
    const name = store.me?.name;
    await store.lock();
    if (unsent && place) {
      place.textContent =
        `${unsent} ${unsent === 1 ? "record of" : "records of"} ${name} ` +
        `${unsent === 1 ? "is" : "are"} still on this device and not sent. Sealed, ` +
        `${unsent === 1 ? "it waits" : "they wait"} until ${name} signs in here again.`;
      place.hidden = false;
    }
  }
}
