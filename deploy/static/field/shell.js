// The page itself kept on this device, for opening without a network.

// Resolves to "" once it is, else to why it is not, in words.
export async function keepShell() {
  if (!("serviceWorker" in navigator)) return "This browser cannot keep the page itself: leave it open while you are out of reach. What you type is kept all the same.";
  try {
    await navigator.serviceWorker.register("/field/sw.js", { scope: "/field/" });
    await navigator.serviceWorker.ready;
    return "";
  } catch (error) {
    if (!navigator.onLine && navigator.serviceWorker.controller) return "";
    return `The page itself could not be kept on this device (${error.message}): leave it open while you are out of reach.`;
  }
}
