// What is measured, in which units, and between which bounds a value can be a reading at all.
//
// The server's list is inventory/tankside/rules/readings.py; a test holds the two together. The bounds are here
// too, so that a slip of the hand is told at the tank and does not come back hours later.
//
// Exports
//   inWords(measure, typed)  "Temperature 9.4 °C"; practical salinity and pH have no unit
//   MEASURES        [quantity, unit, words, low, high]
//   inOrder(unit)   the same with the house's unit of temperature first
//   problemOf(measure, text)  what is wrong with a value as it was typed; "" when nothing is
//   plain(text)     the number as it is sent: a decimal comma and a true minus are read

export const MEASURES = [
  ["temperature", "°C", "Temperature, °C", -3, 45],
  ["temperature", "°F", "Temperature, °F", 26.6, 113],
  ["salinity", "g/kg", "Salinity, g/kg", 0, 80],
  ["salinity", "PSU", "Salinity, practical", 0, 80],
  ["oxygen", "mg/L", "Oxygen, mg/L", 0, 40],
  ["oxygen", "%", "Oxygen, %", 0, 400],
  ["ph", "pH", "pH", 4, 11],
  ["ammonia", "mg/L N", "Ammonia and ammonium, mg/L N", 0, 50],
  ["nitrite", "mg/L N", "Nitrite, mg/L N", 0, 100],
  ["nitrate", "mg/L N", "Nitrate, mg/L N", 0, 1000]
];

export function inOrder(unit) {
  return [...MEASURES].sort((a, b) => Number(b[1] === unit) - Number(a[1] === unit));
}

export function inWords([, unit, words], typed) {
  const symbol = ["PSU", "pH"].includes(unit) ? "" : unit;
  return `${words.split(",")[0]} ${typed} ${symbol}`.trim();
}

export function plain(text) {
  return text.trim().replace(",", ".").replace("\u2212", "-");
}

export function problemOf([, , words, low, high], text) {
  const typed = plain(text);
  if (!typed) return "Type the value.";
  if (!/^-?\d+(\.\d+)?$/.test(typed)) return `“${text.trim()}” is no number.`;
  const value = Number(typed);
  return low <= value && value <= high ? "" : `${words}: ${typed} cannot be; expected ${low} to ${high}.`;
}
