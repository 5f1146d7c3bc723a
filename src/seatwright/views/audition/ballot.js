/* Ballots: canonical JSON, its SHA-256, and a code that survives mail and chat.
   SHA-256 is written out (FIPS 180-4) because pages on a plain host have no crypto.subtle. */

const Ballot = (() => {
  /** JSON with sorted keys and no spaces. */
  function canonical(value) {
    if (Array.isArray(value)) {
      return `[${value.map(canonical).join(",")}]`;
    }
    if (value !== null && typeof value === "object") {
      const keys = Object.keys(value).sort();
      return `{${keys.map((key) => `${JSON.stringify(key)}:${canonical(value[key])}`).join(",")}}`;
    }
    return JSON.stringify(value);
  }

  /** Text without halves of characters, which no UTF-8 can hold. */
  function wellFormed(text) {
    return Array.from(text, (c) => (/^[\ud800-\udfff]$/.test(c) ? "\ufffd" : c)).join("");
  }

  function primes(count) {
    const found = [];
    for (let n = 2; found.length < count; n += 1) {
      if (found.every((prime) => n % prime !== 0)) {
        found.push(n);
      }
    }
    return found;
  }

  const fraction = (x) => Math.floor((x - Math.floor(x)) * 4294967296) >>> 0;
  const ROUNDS = primes(64).map((prime) => fraction(Math.cbrt(prime)));
  const INITIAL = primes(8).map((prime) => fraction(Math.sqrt(prime)));
  const turned = (x, n) => (x >>> n) | (x << (32 - n));

  /** SHA-256 of bytes, in hexadecimal. */
  function sha256(bytes) {
    const length = ((bytes.length + 8) >> 6 << 6) + 64;
    const message = new Uint8Array(length);
    message.set(bytes);
    message[bytes.length] = 0x80;
    const view = new DataView(message.buffer);
    view.setUint32(length - 8, Math.floor(bytes.length / 536870912));
    view.setUint32(length - 4, bytes.length << 3);
    let state = INITIAL.slice();
    for (let block = 0; block < length; block += 64) {
      state = compressed(state, view, block);
    }
    return state.map((word) => (word >>> 0).toString(16).padStart(8, "0")).join("");
  }

  function compressed(before, view, block) {
    const w = new Int32Array(64);
    for (let i = 0; i < 16; i += 1) {
      w[i] = view.getInt32(block + 4 * i);
    }
    for (let i = 16; i < 64; i += 1) {
      const a = turned(w[i - 15], 7) ^ turned(w[i - 15], 18) ^ (w[i - 15] >>> 3);
      const b = turned(w[i - 2], 17) ^ turned(w[i - 2], 19) ^ (w[i - 2] >>> 10);
      w[i] = w[i - 16] + a + w[i - 7] + b;
    }
    let [a, b, c, d, e, f, g, h] = before;
    for (let i = 0; i < 64; i += 1) {
      const high = turned(e, 6) ^ turned(e, 11) ^ turned(e, 25);
      const one = (h + high + ((e & f) ^ (~e & g)) + ROUNDS[i] + w[i]) | 0;
      const low = turned(a, 2) ^ turned(a, 13) ^ turned(a, 22);
      const two = (low + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [a, b, c, d, e, f, g, h] = [(one + two) | 0, a, b, c, (d + one) | 0, e, f, g];
    }
    return [a, b, c, d, e, f, g, h].map((word, i) => (word + before[i]) | 0);
  }

  const encoded = (text) => new TextEncoder().encode(text);

  /** The facts with their checksum. */
  function signed(facts) {
    return { ...facts, checksum: sha256(encoded(canonical(facts))) };
  }

  /** The ballot as a code: deflated where the browser can. */
  async function code(ballot) {
    const bytes = encoded(canonical(ballot));
    if (typeof CompressionStream === "undefined") {
      return `SWB0.${base64url(bytes)}`;
    }
    const stream = new Blob([bytes]).stream().pipeThrough(new CompressionStream("deflate"));
    return `SWB1.${base64url(new Uint8Array(await new Response(stream).arrayBuffer()))}`;
  }

  function base64url(bytes) {
    let text = "";
    bytes.forEach((byte) => {
      text += String.fromCharCode(byte);
    });
    return btoa(text).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
  }

  /** Bytes of a text in base64. */
  function fromBase64(text) {
    const binary = atob(text);
    const bytes = new Uint8Array(binary.length);
    for (let i = 0; i < binary.length; i += 1) {
      bytes[i] = binary.charCodeAt(i);
    }
    return bytes;
  }

  return { canonical, wellFormed, sha256, signed, code, fromBase64 };
})();
