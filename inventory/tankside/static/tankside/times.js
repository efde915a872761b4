// Moments as a person in the house reads them.
//
// Exports
//   clock(moment, zone)     "08:10", in the house's zone
//   dayAndClock(moment, zone)  "27 Nov, 08:10"
//   localMinute(moment, zone)  "2026-11-27T08:10", the house's own time, as a form field holds it
//   ago(ms)                 "just now", "5 minutes", "3 hours", "2 days"

const formats = new Map();

function parts(moment, zone) {
  const key = zone || "";
  if (!formats.has(key)) {
    formats.set(key, new Intl.DateTimeFormat("en-GB", {
      timeZone: zone || undefined,
      year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", hourCycle: "h23",
    }));
  }
  const found = {};
  for (const { type, value } of formats.get(key).formatToParts(new Date(moment))) found[type] = value;
  return found;
}

const MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

export function clock(moment, zone) {
  const { hour, minute } = parts(moment, zone);
  return `${hour}:${minute}`;
}

export function dayAndClock(moment, zone) {
  const { day, month, hour, minute } = parts(moment, zone);
  return `${Number(day)} ${MONTHS[Number(month) - 1]}, ${hour}:${minute}`;
}

export function localMinute(moment, zone) {
  const { year, month, day, hour, minute } = parts(moment, zone);
  return `${year}-${month}-${day}T${hour}:${minute}`;
}

export function ago(ms) {
  const minutes = Math.floor(ms / 60_000);
  if (minutes < 1) return "just now";
  if (minutes < 60) return many(minutes, "minute");
  if (minutes < 48 * 60) return many(Math.floor(minutes / 60), "hour");
  return many(Math.floor(minutes / (24 * 60)), "day");
}

function many(n, word) {
  return `${n} ${word}${n === 1 ? "" : "s"}`;
}
