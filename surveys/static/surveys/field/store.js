// What the phone keeps, in IndexedDB: entries that were made, days that were loaded, photos, and how the page is set.
// A write is on the disk when its promise resolves. Object stores change by adding a step to UPGRADES; what was
// entered under an older version of the page goes through all steps and is kept.

const NAME = "field";

const UPGRADES = [
  (db) => {
    const entries = db.createObjectStore("entries", { keyPath: "id" });
    for (const by of ["state", "visit", "sequence"]) entries.createIndex(by, by);
    db.createObjectStore("days", { keyPath: "key" });
    db.createObjectStore("photos", { keyPath: "id" });
    db.createObjectStore("prefs", { keyPath: "name" });
  },
];

let opened = null;

/** Open the database once; whatever uses it waits for this. */
export function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, UPGRADES.length);
    request.onupgradeneeded = ({ oldVersion }) => {
      for (const step of UPGRADES.slice(oldVersion)) step(request.result, request.transaction);
    };
    request.onsuccess = () => resolve(shared(request.result));
    request.onerror = () => reject(request.error);
  }).catch((error) => {
    opened = null;
    throw error;
  });
  return opened;
}

/** Let go when a newer page wants to upgrade, or the browser closes it; the next use opens it again. */
function shared(db) {
  const forget = () => (opened = null);
  db.onversionchange = () => {
    db.close();
    forget();
  };
  db.onclose = forget;
  return db;
}

/** Do `work` in one transaction: all of it is kept, or nothing. `work` may await only what its `tx` gives. */
export async function within(stores, mode, work) {
  const db = await open();
  const transaction = db.transaction(stores, mode, { durability: "strict" });
  const over = new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = () => reject(transaction.error ?? new DOMException("aborted", "AbortError"));
  });
  over.catch(() => {}); // told below, by the await
  let result;
  try {
    result = await work(handle(transaction));
  } catch (error) {
    if (transaction.error === null) abort(transaction);
    throw error;
  }
  await over;
  return result;
}

function abort(transaction) {
  try {
    transaction.abort();
  } catch {
    // it has ended already: there is nothing to undo
  }
}

const handle = (transaction) => ({
  get: (store, key) => said(transaction.objectStore(store).get(key)),
  put: (store, value) => said(transaction.objectStore(store).put(value)),
  del: (store, key) => said(transaction.objectStore(store).delete(key)),
  all: (store, index, range) => {
    const from = transaction.objectStore(store);
    return said((index ? from.index(index) : from).getAll(range));
  },
  last: (store, index) => lastOf(transaction.objectStore(store).index(index)),
});

const said = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

const lastOf = (index) => said(index.openCursor(null, "prev")).then((cursor) => cursor?.value);

export const get = (store, key) => within([store], "readonly", (tx) => tx.get(store, key));
export const put = (store, value) => within([store], "readwrite", (tx) => tx.put(store, value));
export const del = (store, key) => within([store], "readwrite", (tx) => tx.del(store, key));
export const all = (store, index, range) => within([store], "readonly", (tx) => tx.all(store, index, range));

/** How the page is set: `prefs` are `{name, value}`. */
export const pref = async (name) => (await get("prefs", name))?.value;
export const setPref = (name, value) => put("prefs", { name, value });

/** Whether a write failed because the phone is full. */
export const isFull = (error) => error?.name === "QuotaExceededError" || error?.inner?.name === "QuotaExceededError";
