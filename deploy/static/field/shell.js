// The page itself kept on this device, for opening without a network.

const PATIENCE = 2000;
const ASK_EVERY = 200;

// A release that was fetched meanwhile is taken at the next opening, before anything is drawn: never under the hands.
export async function takeNewest() {
  if (!navigator.serviceWorker?.controller) return;
  const waiting = (await navigator.serviceWorker.getRegistration())?.waiting;
  if (!waiting) return;
  const taken = new Promise((resolve) =>
    navigator.serviceWorker.addEventListener("controllerchange", () => resolve(true), { once: true }),
  );
  // A worker gives way once it has come to rest, and Chromium may miss that of one woken by this very opening: it is
  // asked again, so that it comes to rest again.
  const ask = () =>
    [waiting, navigator.serviceWorker.controller].forEach((worker) => worker?.postMessage("take over"));
  const asking = setInterval(ask, ASK_EVERY);
  ask();
  const isTaken = await Promise.race([taken, new Promise((resolve) => setTimeout(resolve, PATIENCE, false))]);
  clearInterval(asking);
  if (isTaken) {
    location.reload();
    await new Promise(() => {}); // nothing more of the old one
  }
}

// Resolves to "" once it is, else to why it is not, in words.
export async function keepShell() {
  if (!("serviceWorker" in navigator))
    return "This browser cannot store the page: keep it open while you are offline. What you enter is still saved.";
  try {
    await navigator.serviceWorker.register("/field/sw.js", { scope: "/field/" });
    await navigator.serviceWorker.ready;
    return "";
  } catch (error) {
    if (!navigator.onLine && navigator.serviceWorker.controller) return "";
    return `The page could not be stored on this device (${error.message}): keep it open while you are offline.`;
  }
}
