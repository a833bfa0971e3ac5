// Proof of knowing the password, by the formulas of login.py; browsers keep their own cryptography from plain http.
"use strict";

// FIPS 180-4: constants are the first 32 bits of the fractions of the primes' roots (4.2.2, 5.3.3).
const ROOTS = new Int32Array(64);
const START = new Int32Array(8);
for (let n = 2, found = 0; found < 64; n++) {
  let prime = true;
  for (let d = 2; d * d <= n; d++) if (n % d === 0) prime = false;
  if (!prime) continue;
  if (found < 8) START[found] = (Math.sqrt(n) % 1) * 4294967296 | 0;
  ROOTS[found++] = (Math.cbrt(n) % 1) * 4294967296 | 0;
}
const WORDS = new Int32Array(64);

// One block of 16 words in WORDS into the state (6.2.2).
function compress(state) {
  const w = WORDS;
  for (let t = 16; t < 64; t++) {
    const x = w[t - 15], y = w[t - 2];
    const s0 = (x >>> 7 | x << 25) ^ (x >>> 18 | x << 14) ^ x >>> 3;
    const s1 = (y >>> 17 | y << 15) ^ (y >>> 19 | y << 13) ^ y >>> 10;
    w[t] = w[t - 16] + s0 + w[t - 7] + s1 | 0;
  }
  let [a, b, c, d, e, f, g, h] = state;
  for (let t = 0; t < 64; t++) {
    const s1 = (e >>> 6 | e << 26) ^ (e >>> 11 | e << 21) ^ (e >>> 25 | e << 7);
    const t1 = h + s1 + (e & f ^ ~e & g) + ROOTS[t] + w[t] | 0;
    const s0 = (a >>> 2 | a << 30) ^ (a >>> 13 | a << 19) ^ (a >>> 22 | a << 10);
    const t2 = s0 + (a & b ^ a & c ^ b & c) | 0;
    h = g; g = f; f = e; e = d + t1 | 0; d = c; c = b; b = a; a = t1 + t2 | 0;
  }
  state[0] += a; state[1] += b; state[2] += c; state[3] += d;
  state[4] += e; state[5] += f; state[6] += g; state[7] += h;
}

// The rest of a message after `before` bytes that the state has already taken; whole digest as bytes.
function finish(state, bytes, before) {
  const blocks = (bytes.length + 9 + 63) >> 6;
  const padded = new Uint8Array(64 * blocks);
  padded.set(bytes);
  padded[bytes.length] = 128;
  const view = new DataView(padded.buffer);
  view.setUint32(64 * blocks - 4, 8 * (before + bytes.length));  // no message here is longer than 2^29 bytes
  for (let n = 0; n < blocks; n++) {
    for (let t = 0; t < 16; t++) WORDS[t] = view.getInt32(64 * n + 4 * t);
    compress(state);
  }
  const digest = new DataView(new ArrayBuffer(32));
  for (let t = 0; t < 8; t++) digest.setInt32(4 * t, state[t]);
  return new Uint8Array(digest.buffer);
}

function sha256(bytes) {
  return finish(START.slice(), bytes, 0);
}

// The two states of HMAC (RFC 2104) after the padded key.
function keyed(key) {
  if (key.length > 64) key = sha256(key);
  const states = [];
  for (const pad of [0x36363636, 0x5c5c5c5c]) {
    const block = new Uint8Array(64);
    block.set(key);
    const view = new DataView(block.buffer);
    for (let t = 0; t < 16; t++) WORDS[t] = view.getInt32(4 * t) ^ pad;
    const state = START.slice();
    compress(state);
    states.push(state);
  }
  return states;
}

function hmac(key, message) {
  const [inner, outer] = keyed(key);
  return finish(outer, finish(inner, message, 64), 64);
}

// PBKDF2 (RFC 8018, 5.2), its first 32 bytes.
function pbkdf2(password, salt, rounds) {
  const [inner, outer] = keyed(password);
  const first = new Uint8Array(salt.length + 4);
  first.set(salt);
  first[salt.length + 3] = 1;
  const sum = new Int32Array(8);
  const state = new Int32Array(8);
  state.set(inner);
  finish(state, first, 64);
  step(state, outer);
  sum.set(state);
  for (let n = 1; n < rounds; n++) {
    step(state, inner);
    step(state, outer);
    for (let t = 0; t < 8; t++) sum[t] ^= state[t];
  }
  const out = new DataView(new ArrayBuffer(32));
  for (let t = 0; t < 8; t++) out.setInt32(4 * t, sum[t]);
  return new Uint8Array(out.buffer);
}

// The keyed state `from` after one block that holds the 32 bytes of `state`, into `state`.
function step(state, from) {
  WORDS.set(state);
  WORDS[8] = -2147483648;
  WORDS.fill(0, 9, 15);
  WORDS[15] = 8 * (64 + 32);
  state.set(from);
  compress(state);
}

function utf8(text) {
  return Uint8Array.from(unescape(encodeURIComponent(text)), (c) => c.charCodeAt(0));
}

function toHex(bytes) {
  return Array.from(bytes, (b) => (b + 256).toString(16).slice(1)).join("");
}

function fromHex(text) {
  return Uint8Array.from(text.match(/../g) || [], (pair) => parseInt(pair, 16));
}

function xor(a, b) {
  return a.map((byte, n) => byte ^ b[n]);
}

// What the board keeps of a password, and what only who knows the password can make.
function secrets(password, saltHex, rounds) {
  const salted = pbkdf2(utf8(password.normalize("NFKC")), fromHex(saltHex), rounds);
  const client = hmac(salted, utf8("Client Key"));
  return { client, stored: sha256(client) };
}

function proofOf(made, nonce) {
  return toHex(xor(made.client, hmac(made.stored, utf8(nonce))));
}

function sessionKey(made, nonce) {
  return toHex(hmac(made.stored, utf8("session " + nonce)));
}

function signOf(keyHex, number, path, body) {
  return number + ":" + toHex(hmac(fromHex(keyHex), utf8(number + "\n" + path + "\n" + body)));
}

function masked(keyHex, number, made) {
  return toHex(xor(made.stored, hmac(fromHex(keyHex), utf8("password " + number))));
}

// X25519 (RFC 7748, section 5): a secret that two sides share, made of an own one and the other's point.
const FIELD = 2n ** 255n - 19n;
const BASE = Uint8Array.of(9, ...new Uint8Array(31));

function whole(bytes) {
  return bytes.reduceRight((sum, byte) => sum * 256n + BigInt(byte), 0n) % 2n ** 255n;
}

function power(base, exponent) {
  let result = 1n;
  for (let bits = exponent; bits; bits >>= 1n) {
    if (bits & 1n) result = result * base % FIELD;
    base = base * base % FIELD;
  }
  return result;
}

function shared(secret, point) {
  const k = (whole(secret) & 2n ** 254n - 8n) | 2n ** 254n, u = whole(point);
  let [x2, z2, x3, z3] = [1n, 0n, u, 1n];
  for (let t = 254n; t >= 0n; t--) {
    const swaps = k >> t & 1n;
    if (swaps) [x2, z2, x3, z3] = [x3, z3, x2, z2];
    const a = x2 + z2, b = x2 - z2, c = x3 + z3, d = x3 - z3;
    const aa = a * a % FIELD, bb = b * b % FIELD, e = aa - bb, da = d * a % FIELD, cb = c * b % FIELD;
    x3 = (da + cb) ** 2n % FIELD;
    z3 = u * ((da - cb) ** 2n % FIELD) % FIELD;
    x2 = aa * bb % FIELD;
    z2 = e * (aa + 121665n * e) % FIELD;
    if (swaps) [x2, z2, x3, z3] = [x3, z3, x2, z2];
  }
  let left = (x2 * power(z2, FIELD - 2n) % FIELD + FIELD) % FIELD;
  return Uint8Array.from({ length: 32 }, () => {
    const byte = Number(left & 255n);
    left >>= 8n;
    return byte;
  });
}
