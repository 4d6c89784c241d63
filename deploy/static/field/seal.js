// Sealing: what one person typed cannot be read by the next who takes the tablet. AES-GCM under a key of the person's
// own, which comes with the job pack and is kept so that scripts can use it but not read it out.

const NAME = "AES-GCM";
const NONCE_BYTES = 12; // as NIST SP 800-38D recommends for a random nonce (from memory)

export async function keyFrom(base64) {
  const bytes = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
  return crypto.subtle.importKey("raw", bytes, NAME, false, ["encrypt", "decrypt"]);
}

// `about` is bound to the sealed bytes: a row put in another's place does not open.
export async function sealBytes(key, bytes, about) {
  const nonce = crypto.getRandomValues(new Uint8Array(NONCE_BYTES));
  const data = await crypto.subtle.encrypt(
    { name: NAME, iv: nonce, additionalData: new TextEncoder().encode(about) },
    key,
    bytes,
  );
  return { nonce, data };
}

export async function openBytes(key, { nonce, data }, about) {
  return crypto.subtle.decrypt(
    { name: NAME, iv: nonce, additionalData: new TextEncoder().encode(about) },
    key,
    data,
  );
}

export async function seal(key, value, about) {
  return sealBytes(key, new TextEncoder().encode(JSON.stringify(value)), about);
}

export async function unseal(key, sealed, about) {
  return JSON.parse(new TextDecoder().decode(await openBytes(key, sealed, about)));
}

export async function sha256Of(bytes) {
  const hash = await crypto.subtle.digest("SHA-256", bytes);
  return Array.from(new Uint8Array(hash), (byte) => byte.toString(16).padStart(2, "0")).join("");
}
