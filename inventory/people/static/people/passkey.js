// Makes or uses a passkey with the browser, and sends what it signed with the form. The options stand in the form.
const form = document.getElementById("passkey");
const trouble = document.getElementById("passkey-trouble");
const button = document.getElementById("passkey-add") || document.getElementById("passkey-use");
const { forms } = window.allauth.webauthn;
const given = { data: JSON.parse(form.dataset.options) };

document.addEventListener("allauth.error", (event) => {
  event.preventDefault();
  trouble.hidden = false;
});

// Before the listener of the forms below: a key that is made while a field is empty would be refused and left over.
button.addEventListener("click", (event) => {
  trouble.hidden = true;
  if (!form.reportValidity()) event.stopImmediatePropagation();
});

if (!window.PublicKeyCredential) {
  // An older browser, or an address without TLS.
  button.disabled = true;
  document.getElementById("passkey-none").hidden = false;
} else if (button.id === "passkey-add") {
  forms.addForm({ ...given, ids: { add: button.id, credential: "passkey-credential" } });
} else {
  forms.authenticateForm({ ...given, ids: { authenticate: button.id, credential: "passkey-credential" } });
}
