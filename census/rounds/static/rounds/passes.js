// Several passes over one shoal. Pure. The same stands in rules/passes.py, which the server goes by.
//
// Exports
//   middle(passes)   the median as whole animals; of an even number half an animal is rounded up
//   inWords(passes, wanted)  "Middle 402, range 388 to 431, from 3 passes."

export function middle(passes) {
  const ordered = [...passes].sort((a, b) => a - b);
  const half = Math.floor(ordered.length / 2);
  return ordered.length % 2 ? ordered[half] : Math.floor((ordered[half - 1] + ordered[half] + 1) / 2);
}

export function inWords(passes, wanted) {
  if (!passes.length) return "Not counted.";
  const n = `${passes.length} ${passes.length === 1 ? "pass" : "passes"}`;
  const few = passes.length < wanted ? ` ${wanted} or more are wanted: with fewer it is an estimate of lower quality.` : "";
  if (passes.length === 1) return `${passes[0]}, from ${n}.${few}`;
  return `Middle ${middle(passes)}, range ${Math.min(...passes)} to ${Math.max(...passes)}, from ${n}.${few}`;
}
