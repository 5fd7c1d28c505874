// Sound the desk has not confirmed yet. It is held in memory, and while the desk cannot be reached also in the
// browser's own database, so that a closed tab or a sleeping laptop loses nothing. What is safe is let go.

const open = new Promise((done) => {
  if (!window.indexedDB) return done(null);
  const asked = indexedDB.open("earside", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("sound", { keyPath: ["id", "at"] });
  asked.onsuccess = () => done(asked.result);
  asked.onerror = () => done(null);
});

async function table(mode, work) {
  const base = await open;
  if (!base) return null;
  return new Promise((done) => {
    const act = base.transaction("sound", mode);
    const asked = work(act.objectStore("sound"));
    act.oncomplete = () => done(asked ? asked.result : null);
    act.onerror = act.onabort = () => done(null);
  });
}

const of = (id, to = Infinity) => IDBKeyRange.bound([id, 0], [id, to], false, true);

const LATE = 20; // pieces, of 100 ms: the desk confirms within a second, or something is wrong

export class Held {
  constructor(id, pieces = [], end = 0) {
    this.id = id;
    this.pieces = pieces; // [{at, sound}], in order
    this.end = end; // the byte at which the next piece begins
    this.storing = false;
  }

  // What an earlier page left behind: [id, ...].
  static async left() {
    const all = (await table("readonly", (t) => t.getAllKeys())) || [];
    return [...new Set(all.map(([id]) => id))];
  }

  static async take(id) {
    const rows = (await table("readonly", (t) => t.getAll(of(id)))) || [];
    const last = rows[rows.length - 1];
    return new Held(id, rows.map(({ at, sound }) => ({ at, sound })), last ? last.at + last.sound.byteLength : 0);
  }

  add(sound) {
    const piece = { at: this.end, sound };
    this.end += sound.byteLength;
    this.pieces.push(piece);
    if (this.storing) this.store([piece]);
    else if (this.pieces.length > LATE) this.keep();
    return piece;
  }

  // From now on (the desk is out of reach) everything is stored as it comes, what is held already at once.
  keep() {
    if (this.storing) return;
    this.storing = true;
    this.store(this.pieces);
  }

  store(pieces) {
    return table("readwrite", (t) => { for (const piece of pieces) t.put({ id: this.id, ...piece }); });
  }

  // The desk has everything before this byte on its disk.
  safe(bytes) {
    let n = 0;
    while (n < this.pieces.length && this.pieces[n].at + this.pieces[n].sound.byteLength <= bytes) n++;
    if (!n) return;
    this.pieces.splice(0, n);
    if (this.storing) {
      const first = this.pieces.length ? this.pieces[0].at : Infinity;
      table("readwrite", (t) => t.delete(of(this.id, first)));
      if (!this.pieces.length) this.storing = false;
    }
  }

  // The desk goes on from this byte. What it lost with a crash and is not here either is gone: about a second.
  from(bytes) {
    const gap = this.pieces.length ? this.pieces[0].at - bytes : 0;
    if (gap > 0) {
      for (const piece of this.pieces) piece.at -= gap;
      this.end -= gap;
    }
    this.end = Math.max(this.end, bytes);
    return Math.max(gap, 0);
  }

  forget() {
    this.pieces = [];
    return table("readwrite", (t) => t.delete(of(this.id)));
  }
}
