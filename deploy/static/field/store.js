// What is kept on this device: packs, works and photos, sealed per person (seal.js), in IndexedDB. A work counts as
// kept when the browser says that the transaction is on the disk, not before.

import { keyFrom, openBytes, seal, sealBytes, sha256Of, unseal } from "./seal.js";

const NAME = "spanbook-field";
const VERSION = 1;
const RECEIPT_DAYS = 30; // how long what was sent stays to be looked at
const STRICT = { durability: "strict" }; // the usual "relaxed" says complete before the disk has it
const UNSENT = ["open", "ready", "signed"];

// The device did not take it; the message says why and what to do.
export class NotKept extends Error {}

export async function openStore() {
  const store = new Store(await opened());
  await store.begin();
  return store;
}

function opened() {
  const asked = indexedDB.open(NAME, VERSION);
  asked.onupgradeneeded = () => {
    const db = asked.result;
    db.createObjectStore("me");
    db.createObjectStore("packs", { keyPath: "person" });
    db.createObjectStore("works", { keyPath: "submission" }).createIndex("person", "person");
    db.createObjectStore("photos", { keyPath: ["submission", "sha256"] }).createIndex("person", "person");
  };
  return answer(asked);
}

function answer(asked) {
  return new Promise((resolve, reject) => {
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
    asked.onblocked = () => reject(new Error("another tab holds an older version open; close it"));
  });
}

class Store {
  constructor(db) {
    this.db = db;
    this.me = null;
    this.onKept = null;
    this.onGone = null; // the person left, or another came, in another tab
    this.tabs = new BroadcastChannel(NAME);
    this.tabs.onmessage = () => this.onGone?.();
    this.broken = []; // works whose row does not open: shown, never dropped
    this.isPackBroken = false;
    this.lines = new Map(); // submission → what is being written and what waits
    db.onversionchange = () => db.close();
  }

  async begin() {
    const kept = await answer(this.db.transaction("me").objectStore("me").get("me"));
    this.key = kept?.key ?? null;
    this.me = kept ? { id: kept.id, name: kept.name } : null;
  }

  // ---- who ----
  async signedIn(person, keyBase64) {
    const key = await keyFrom(keyBase64);
    if (this.me?.id !== person.id) this.tabs.postMessage("another");
    await this.#write(["me"], (stores) => stores.me.put({ id: person.id, name: person.name, key }, "me"));
    this.key = key;
    this.me = { id: person.id, name: person.name };
  }

  // At sign-out the key goes and what it sealed stays, closed until its owner is back.
  async lock() {
    await this.#write(["me"], (stores) => stores.me.delete("me"));
    this.key = this.me = null;
    this.tabs.postMessage("gone");
  }

  async persist() {
    return (await navigator.storage?.persist?.()) ?? false;
  }

  // ---- the pack ----
  async putPack(pack) {
    const { key: _, ...rest } = pack;
    const sealed = await seal(this.#mine(), rest, `pack ${this.me.id}`);
    await this.#write(["packs"], (stores) => stores.packs.put({ person: this.me.id, sealed }));
  }

  async pack() {
    if (!this.me) return null;
    const row = await answer(this.db.transaction("packs").objectStore("packs").get(this.me.id));
    this.isPackBroken = false;
    return row
      ? unseal(this.#mine(), row.sealed, `pack ${this.me.id}`).catch(() => ((this.isPackBroken = true), null))
      : null;
  }

  // ---- works ----
  // Resolves when this state of the work, or a later one, is on the disk. One write at a time for each work: what is
  // typed meanwhile waits, and of what waits only the last is written.
  keep(work) {
    const line = this.lines.get(work.submission) ?? { writing: null, waiting: null };
    this.lines.set(work.submission, line);
    if (line.writing) {
      line.waiting ??= deferred();
      line.waiting.work = work;
      return line.waiting.promise;
    }
    line.writing = this.#keepNow(work).finally(() => {
      const next = line.waiting;
      line.writing = line.waiting = null;
      if (next) this.keep(next.work).then(next.resolve, next.reject);
      else this.lines.delete(work.submission);
    });
    return line.writing;
  }

  async #keepNow(work) {
    const me = this.me;
    const sealed = await seal(this.#mine(), work, aboutWork(work.submission, me));
    const changed = Date.now();
    const unsent = UNSENT.includes(work.state) || work.answer?.photos_missing?.length > 0;
    const row = { submission: work.submission, person: me.id, unsent, changed, sealed };
    await this.#write(["works"], (stores) => stores.works.put(row));
    this.onKept?.(work.submission, new Date(changed));
  }

  async works() {
    if (!this.me) return [];
    const rows = await this.#rowsOfMine("works");
    this.broken = [];
    const found = await Promise.all(rows.map((row) => this.#opened(row)));
    return found.filter(Boolean);
  }

  async work(submission) {
    if (!this.me) return null;
    const line = this.lines.get(submission);
    if (line) await (line.waiting?.promise ?? line.writing).catch(() => null);
    const row = await answer(this.db.transaction("works").objectStore("works").get(submission));
    return row?.person === this.me.id ? this.#opened(row) : null;
  }

  async #opened(row) {
    try {
      return await unseal(this.#mine(), row.sealed, aboutWork(row.submission, this.me));
    } catch {
      this.broken.push(row.submission);
      return null;
    }
  }

  // Only what was never signed: a signed work belongs to the book.
  async drop(submission) {
    const work = await this.work(submission);
    if (!work || !["open", "ready"].includes(work.state)) throw new Error("a signed work is never dropped");
    await this.#remove([submission]);
  }

  async othersSealed() {
    const rows = await answer(this.db.transaction("works").objectStore("works").getAll());
    return rows.filter((row) => row.unsent && row.person !== this.me?.id).length;
  }

  async unsentOfMine() {
    return this.me ? (await this.#rowsOfMine("works")).filter((row) => row.unsent).length : 0;
  }

  // ---- photos ----
  async addPhoto(submission, blob) {
    const bytes = await blob.arrayBuffer();
    const sha256 = await sha256Of(bytes);
    const sealed = await sealBytes(this.#mine(), bytes, aboutPhoto(submission, sha256));
    const row = { submission, sha256, person: this.me.id, type: blob.type, sealed };
    await this.#write(["photos"], (stores) => stores.photos.put(row));
    return sha256;
  }

  async photo(submission, sha256) {
    const row = await answer(this.db.transaction("photos").objectStore("photos").get([submission, sha256]));
    if (!row || row.person !== this.me?.id) return null;
    return new Blob([await openBytes(this.#mine(), row.sealed, aboutPhoto(submission, sha256))], {
      type: row.type,
    });
  }

  // ---- within ----
  #mine() {
    if (!this.key) throw new Error("nobody is signed in on this device");
    return this.key;
  }

  async #rowsOfMine(name) {
    const rows = await answer(this.db.transaction(name).objectStore(name).index("person").getAll(this.me.id));
    return rows.sort((a, b) => b.changed - a.changed);
  }

  // What was sent long ago.
  async prune() {
    if (!this.me) return;
    const oldest = Date.now() - RECEIPT_DAYS * 24 * 3600 * 1000;
    const rows = await this.#rowsOfMine("works");
    await this.#remove(
      rows.filter((row) => !row.unsent && row.changed < oldest).map((row) => row.submission),
    );
  }

  async #remove(submissions) {
    if (submissions.length === 0) return;
    await this.#write(["works", "photos"], (stores) => {
      for (const submission of submissions) {
        stores.works.delete(submission);
        stores.photos.delete(IDBKeyRange.bound([submission, ""], [submission, "\uffff"]));
      }
    });
  }

  #write(names, work) {
    return new Promise((resolve, reject) => {
      const transaction = this.db.transaction(names, "readwrite", STRICT);
      transaction.oncomplete = () => resolve();
      transaction.onabort = () => reject(reasonOf(transaction.error)); // the reason is known only then
      work(Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)])));
    }).catch((error) => Promise.reject(error instanceof NotKept ? error : reasonOf(error)));
  }
}

function aboutWork(submission, me) {
  return `work ${submission} ${me.id}`;
}

function aboutPhoto(submission, sha256) {
  return `photo ${submission} ${sha256}`;
}

function reasonOf(error) {
  if (error?.name === "QuotaExceededError")
    return new NotKept(
      "This device is out of storage: free some space, such as old pictures or downloads. " +
        "What was saved before is still there.",
    );
  return new NotKept(
    `The browser stopped (${error?.message || "no reason given"}). What was saved before is still there.`,
  );
}

function deferred() {
  const made = {};
  made.promise = new Promise((resolve, reject) => Object.assign(made, { resolve, reject }));
  return made;
}
