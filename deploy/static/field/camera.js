// Photos, made small on the device, and the label's square code where the browser can read one.

const LONGEST = 1600;
const QUALITY = 0.85;

// A photo as JPEG of at most 1600 px on its longer side. Errors: what cannot be read as a picture.
export async function shrunk(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const canvas = drawn(picture, Math.round(picture.width * scale), Math.round(picture.height * scale));
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
  if (!blob) throw new Error("The browser could not store this picture.");
  return blob;
}

// A small canvas of a stored photo, for the page.
export async function thumbnail(blob, size = 96) {
  const picture = await createImageBitmap(blob);
  const scale = size / Math.max(picture.width, picture.height);
  const canvas = drawn(picture, Math.round(picture.width * scale), Math.round(picture.height * scale));
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", "photo");
  return canvas;
}

function drawn(picture, width, height) {
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [width, height];
  canvas.getContext("2d").drawImage(picture, 0, 0, width, height);
  return canvas;
}

export function canScan() {
  return "BarcodeDetector" in window && Boolean(navigator.mediaDevices?.getUserMedia);
}

// Looks through the camera until it sees a code or is stopped; the code's text, or null.
export async function scan(video, signal) {
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  try {
    video.srcObject = stream;
    await Promise.race([begun(video), stopped(signal)]);
    while (!signal.aborted) {
      const [code] = await detector.detect(video);
      if (code) return code.rawValue;
      await new Promise((done) => setTimeout(done, 200));
    }
    return null;
  } finally {
    for (const track of stream.getTracks()) track.stop();
    video.srcObject = null;
  }
}

// A camera may take seconds to its first picture; whoever stops meanwhile does not wait for it.
function begun(video) {
  const playing = video.play();
  playing.catch(() => {});
  return playing;
}

function stopped(signal) {
  return new Promise((done) => signal.addEventListener("abort", done, { once: true }));
}
