// Data stored on this device.

function opened() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open("sumproof", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("checks", { keyPath: "id", autoIncrement: true });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

async function within(mode, work) {
  const base = await opened();
  try {
    return await new Promise((resolve, reject) => {
      const transaction = base.transaction("checks", mode);
      const request = work(transaction.objectStore("checks"));
      transaction.oncomplete = () => resolve(request.result);
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
  } finally {
    base.close();
  }
}

/** Stores a reading with its venue and date; one stored already is replaced. */
export const keep = reading => within("readwrite", store => store.put(reading));

/** All readings, the latest first. */
export async function kept() {
  const all = await within("readonly", store => store.getAll());
  return all.sort((a, b) => (a.date < b.date ? 1 : a.date > b.date ? -1 : b.id - a.id));
}

/** Deletes a reading. */
export const remove = id => within("readwrite", store => store.delete(id));
