/* What waits on this phone, in the browser's own database. */
"use strict";
const Store = (() => {
  const open = () =>
    new Promise((resolve, reject) => {
      const asked = indexedDB.open("pack-tracker-log", 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore("entries", { keyPath: "id" });
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => reject(asked.error);
    });

  const deal = async (mode, act) => {
    const base = await open();
    try {
      return await new Promise((resolve, reject) => {
        // Strict: an entry is on the disk before the page says it is kept.
        const dealing = base.transaction("entries", mode, { durability: "strict" });
        const asked = act(dealing.objectStore("entries"));
        dealing.oncomplete = () => resolve(asked?.result);
        dealing.onabort = () => reject(dealing.error);
      });
    } finally {
      base.close();
    }
  };

  return {
    all: async () => (await deal("readonly", (entries) => entries.getAll())).sort((one, other) => (one.at < other.at ? -1 : 1)),
    put: (entry) => deal("readwrite", (entries) => entries.put(entry)),
    drop: (id) => deal("readwrite", (entries) => entries.delete(id)),
    /* Only while it is still there: another window may have handed it over, and it must not come back. */
    change: (id, news) =>
      deal("readwrite", (entries) => {
        const asked = entries.get(id);
        asked.onsuccess = () => asked.result && entries.put({ ...asked.result, ...news });
        return asked;
      }),
  };
})();
