// Who holds the device, for any page of the tank side.
//
// Exports
//   current()        {id, name, initials, pass} or null. Give it to outbox.put() as the author.
//   requirePerson()  resolves with the person; shows the chooser in the page's main part until somebody is
//                    chosen. What stood in the main part is the caller's to draw again.
//   leave(why)       back to the chooser: onPerson tells the page
//   onPerson(tell)   calls tell() when somebody is chosen or left (two idle minutes included)
//
// A page is built like this (the frame does the head, the badge, the outbox and the idle time):
//   import { startPage } from "./frame.js";
//   startPage(async (person, lists) => { ...draw into <main>... });

import { showChooser } from "./chooser.js";
import { current, leave, onPerson } from "./session.js";

export { current, leave, onPerson };

export function requirePerson() {
  const person = current();
  if (person) return Promise.resolve(person);
  // Drawn anew each time: what the chooser says depends on the device, which may have been enrolled since.
  return showChooser();
}
