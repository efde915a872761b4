// How far a file is: asks again until it is made or failed, then shows the page anew. One question at a time,
// so that no earlier answer is drawn over a later one.
const bar = document.querySelector("progress[data-state]");

async function ask() {
  let told;
  try {
    const answer = await fetch(bar.dataset.state, { headers: { Accept: "application/json" } });
    if (!answer.ok) return;
    told = await answer.json();
  } catch {
    // No network for a moment: the next question may be answered.
    setTimeout(ask, 5000);
    return;
  }
  if (told.state === "done" || told.state === "failed") {
    location.reload();
    return;
  }
  if (told.rows) {
    bar.max = told.rows;
    bar.value = told.done;
    document.querySelector("[data-rows]").textContent = `${told.done} of ${told.rows} lines`;
  }
  setTimeout(ask, 1000);
}

if (bar) setTimeout(ask, 1000);
