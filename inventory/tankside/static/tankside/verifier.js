// Proof of a four-digit code without signal, for a person who was confirmed with signal on this device.
//
// A verifier is made here, of a random salt, and never leaves the device. Four digits are few: it slows down
// somebody who holds the tablet, and the count of wrong tries (session.js) stops who stands at it.
//
// Exports
//   canVerify()           false on plain http, where browsers offer no WebCrypto
//   makeVerifier(code)    {salt, iterations, proof}; null where it cannot be made
//   matches(code, verifier)

// PBKDF2-HMAC-SHA-256 with 600,000 rounds: OWASP Password Storage Cheat Sheet (2023).
const ITERATIONS = 600_000;

export function canVerify() {
  return Boolean(globalThis.crypto?.subtle);
}

export async function makeVerifier(code) {
  if (!canVerify()) return null;
  const salt = crypto.getRandomValues(new Uint8Array(16));
  return { salt, iterations: ITERATIONS, proof: await proofOf(code, salt, ITERATIONS) };
}

export async function matches(code, { salt, iterations, proof }) {
  const tried = await proofOf(code, salt, iterations);
  let difference = 0;
  for (let i = 0; i < proof.length; i += 1) difference |= proof[i] ^ tried[i];
  return difference === 0;
}

async function proofOf(code, salt, iterations) {
  const key = await crypto.subtle.importKey("raw", new TextEncoder().encode(code), "PBKDF2", false, ["deriveBits"]);
  const bits = await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt, iterations }, key, 256);
  return new Uint8Array(bits);
}
