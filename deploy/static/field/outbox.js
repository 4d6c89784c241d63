// From this device to the site: who is signed in, the pack, signing with the password, and sending until the site has
// said that it has it. Repeating is harmless: the site knows each work by its submission and each photo by its hash.

const ADDRESS = "/field";
const EVERY = 60 * 1000;
const PATIENCE = 30 * 1000; // a request that says nothing for so long is tried again
const OPENS_AFTER = 600;
const AT_ONCE = 100; // works that the site signs in one go
const LONGEST = 10; // minutes between tries while the site does not answer well

const JSON_BODY = { "Content-Type": "application/json" };

class NoAnswer extends Error {}

async function ask(path, options = {}) {
  const usual = {
    cache: "no-store",
    credentials: "same-origin",
    redirect: "error",
    signal: AbortSignal.timeout(PATIENCE),
  };
  try {
    return await fetch(ADDRESS + path, { ...usual, ...options });
  } catch (error) {
    throw new NoAnswer(error.message);
  }
}

async function json(answer) {
  return answer.json().catch(() => ({}));
}

// To send something: where the token has grown old meanwhile, once more with a fresh one. { answer, reply }
async function put(here, path, options) {
  const go = () => ask(path, { ...options, headers: { ...options.headers, "X-CSRFToken": here.csrf } });
  let answer = await go();
  let reply = await json(answer);
  if (answer.status === 403 && reply.token === "old") {
    here.csrf = (await whoAmI()).csrf ?? here.csrf;
    answer = await go();
    reply = await json(answer);
  }
  return { answer, reply };
}

// { person: {id, name, username} | null, csrf, now }; { person: null, offline: true } without a connection.
async function whoAmI() {
  if (!navigator.onLine) return { person: null, offline: true };
  try {
    const answer = await ask("/who/");
    if (answer.ok) return await answer.json(); // torn off, it is no answer
  } catch {
    // said below
  }
  return { person: null, offline: true };
}

// The same; where somebody else has signed in, what is on this device is locked before anything of it is shown.
// A network that says nothing must not keep the page shut: it opens, and is shut again should the answer come late.
export async function ownerOf(store) {
  let isLate = false;
  const asked = whoAmI().then(async (who) => {
    const isOther = Boolean(who.person && store.me && who.person.id !== store.me.id);
    if (isOther) await store.lock();
    if (isOther && isLate) location.reload();
    return who;
  });
  const waited = new Promise((resolve) => setTimeout(resolve, OPENS_AFTER, { person: null, offline: true }));
  const who = await Promise.race([asked, waited]);
  isLate = true;
  return who;
}

// A new pack, and with it the key of whoever is signed in. Throws without a connection.
export async function refresh(store) {
  const answer = await ask("/pack/");
  const reply = await json(answer);
  if (answer.status === 401)
    return { ok: false, said: "You are signed out. Sign in again; what is on this device stays." };
  if (!answer.ok)
    return { ok: false, said: reply.said ?? `The site answered ${answer.status}. Try again in a moment.` };
  if (!reply.key) throw new NoAnswer("the answer was torn off");
  await store.signedIn(reply.person, reply.key);
  await store.putPack(reply);
  return { ok: true, said: "" };
}

// Whose session it is, said in words where it is not the owner's of what is on the device.
async function session(store) {
  const who = await whoAmI();
  if (who.offline) return { said: "No connection. Nothing is lost; sign when you are back on the network." };
  if (!who.person)
    return {
      said: "Your sign-in has ended. Sign in again in this browser; what is on this device stays.",
      signIn: true,
    };
  if (who.person.id !== store.me?.id)
    return {
      said: `${who.person.name} is signed in now. Only ${store.me?.name ?? "its owner"} can sign and send this.`,
      signIn: true,
    };
  return { csrf: who.csrf };
}

// Sign these works, now, with the password. { ok, said, refused: [{submission, said}] }
export async function sign(store, submissions, password) {
  const here = await session(store);
  if (!here.csrf) return { ok: false, ...here };
  const works = (await Promise.all(submissions.map((submission) => store.work(submission))))
    .filter((work) => work?.state === "ready")
    .slice(0, AT_ONCE);
  const asked = {
    password,
    device: (works[0] && JSON.parse(works[0].content).device?.label) ?? "",
    device_at: new Date().toISOString(),
    works: works.map(({ submission, job, sha256 }) => ({ submission, job, sha256 })),
  };
  let answer, reply;
  try {
    ({ answer, reply } = await put(here, "/sign/", {
      method: "POST",
      headers: JSON_BODY,
      body: JSON.stringify(asked),
    }));
  } catch {
    return { ok: false, said: "The connection was lost. Your entries are safe; try again." };
  }
  if (!answer.ok)
    return {
      ok: false,
      said: reply.said ?? `The site answered ${answer.status}. Nothing is lost; try again in a moment.`,
      signIn: answer.status === 401,
    };
  // Signed perhaps, but the answer was torn off: asked again, the site says the same.
  if (!Array.isArray(reply.signed))
    return { ok: false, said: "The connection was lost. Your entries are safe; try again." };
  const refused = reply.refused ?? [];
  for (const work of works) {
    const no = refused.find((one) => one.submission === work.submission);
    if (reply.signed.includes(work.submission)) await store.keep({ ...work, state: "signed", trouble: "" });
    else if (no) await store.keep({ ...work, trouble: no.said });
  }
  const said = refused.map((one) => one.said).join(" ");
  return { ok: reply.signed.length > 0, said, refused };
}

// Send all that is signed, and photos that the site still lacks. { sent, left, said }; one tab at a time.
export function flush(store) {
  return navigator.locks.request("field-outbox", () => flushNow(store));
}

async function flushNow(store) {
  const done = { sent: 0, left: 0, said: "" };
  const mine = (await store.works()).filter(
    (work) => work.state === "signed" || work.answer?.photos_missing?.length,
  );
  if (mine.length === 0) return done;
  const here = await session(store);
  if (!here.csrf) return { ...done, left: mine.length, said: here.said, signIn: here.signIn };
  for (const work of mine) {
    try {
      const after = work.state === "signed" ? await sendWork(store, work, here) : work;
      if (after.state === "signed" || after.state === "ready") done.left += 1;
      else done[(await sendPhotos(store, after, here)) ? "sent" : "left"] += 1;
      if (after.trouble) done.said = after.trouble;
    } catch (error) {
      // One work that cannot be sent, or its receipt not kept, must not hold up the others.
      done.left += 1;
      done.said =
        error instanceof NoAnswer ? "The connection was lost; it is retried automatically." : error.message;
    }
  }
  return done;
}

async function sendWork(store, work, here) {
  const { answer, reply } = await put(here, `/works/${work.submission}/`, {
    method: "POST",
    headers: JSON_BODY,
    body: work.content,
  });
  const next = { ...work };
  if (answer.ok && ["stored", "set aside"].includes(reply.state)) {
    Object.assign(next, {
      state: reply.state === "stored" ? "sent" : "set aside",
      answer: reply,
      trouble: "",
    });
  } else if (answer.status === 403 && reply.said && !reply.token) {
    // Not signed as the site has it: back to where the password is asked for.
    Object.assign(next, { state: "ready", trouble: reply.said });
  } else {
    next.trouble = reply.said ?? `The site answered ${answer.status}; it is retried automatically.`;
  }
  await store.keep(next);
  return next;
}

async function sendPhotos(store, work, here) {
  const missing = work.answer?.photos_missing ?? [];
  const left = [];
  let trouble = work.trouble ?? "";
  for (const sha256 of missing) {
    const blob = await store.photo(work.submission, sha256);
    if (!blob) {
      trouble = "A photo of this work is no longer on this device; the record says that it is missing.";
      continue;
    }
    const { answer } = await put(here, `/works/${work.submission}/photos/${sha256}/`, {
      method: "PUT",
      headers: { "Content-Type": blob.type },
      body: blob,
    });
    if (!answer.ok) left.push(sha256);
  }
  if (missing.length)
    await store.keep({ ...work, trouble, answer: { ...work.answer, photos_missing: left } });
  return left.length === 0;
}

// Send by itself: at once, when the connection or the person comes back, and every minute; slower while it fails.
export function startSending(store, onChange) {
  let wait = 1,
    skipped = 0,
    isOn = true;
  const go = async (isAsked) => {
    if (!isOn || !store.me || !navigator.onLine || (!isAsked && ++skipped < wait)) return;
    skipped = 0;
    const done = await flush(store).catch((error) => ({ sent: 0, left: 1, said: error.message }));
    wait = done.left ? Math.min(2 * wait, LONGEST) : 1;
    if (done.sent || done.left) await onChange?.(done);
  };
  const asked = () => go(true);
  const seen = () => document.visibilityState === "visible" && go(true);
  window.addEventListener("online", asked);
  document.addEventListener("visibilitychange", seen);
  const timer = setInterval(() => go(false), EVERY);
  go(true);
  return () => {
    isOn = false;
    clearInterval(timer);
    window.removeEventListener("online", asked);
    document.removeEventListener("visibilitychange", seen);
  };
}
