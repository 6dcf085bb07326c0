// The day on which a photo was taken, by what its camera wrote into it (Exif 2.32, 4.6.5:
// DateTimeOriginal); null where it says none. HEIC holds the same block in its head.
(() => {
  "use strict";
  const HEAD = 262144; // bytes in which a camera writes it
  const EXIF_IFD = 0x8769;
  const TAKEN = 0x9003;

  const find = (bytes, mark) => {
    const last = bytes.length - mark.length;
    for (let at = 0; at <= last; at += 1) {
      if (mark.every((byte, n) => bytes[at + n] === byte)) return at + mark.length;
    }
    return -1;
  };

  // Value or offset of a tag in the directory at `at`; null where it is not there.
  const entry = (view, small, at, tag) => {
    const count = view.getUint16(at, small);
    for (let n = 0; n < count; n += 1) {
      const place = at + 2 + 12 * n;
      if (view.getUint16(place, small) === tag) return view.getUint32(place + 8, small);
    }
    return null;
  };

  lapsekit.dayTaken = async (file) => {
    const bytes = new Uint8Array(await file.slice(0, HEAD).arrayBuffer());
    const start = find(bytes, [0x45, 0x78, 0x69, 0x66, 0, 0]);
    if (start < 0) return null;
    try {
      const view = new DataView(bytes.buffer, start);
      const small = view.getUint16(0) === 0x4949;
      const inner = entry(view, small, view.getUint32(4, small), EXIF_IFD);
      const at = inner === null ? null : entry(view, small, inner, TAKEN);
      if (at === null) return null;
      const text = String.fromCharCode(...bytes.subarray(start + at, start + at + 10));
      const found = /^(\d{4}):(\d\d):(\d\d)$/.exec(text);
      const day = found && found.slice(1).join("-");
      return day && !Number.isNaN(Date.parse(day)) ? day : null;
    } catch {
      return null; // cut off, or no Exif at all
    }
  };
})();
