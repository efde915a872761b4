// Makes or uses a passkey with the browser, and sends what it signed with the form. The options stand in the form.
const form = document.getElementById("passkey");
const trouble = document.getElementById("passkey-trouble");
const { forms } = window.allauth.webauthn;
const given = { data: JSON.parse(form.dataset.options) };

document.addEventListener("allauth.error", (event) => {
  event.preventDefault();
  trouble.hidden = false;
});

if (document.getElementById("passkey-add")) {
  forms.addForm({ ...given, ids: { add: "passkey-add", credential: "passkey-credential" } });
} else {
  forms.authenticateForm({ ...given, ids: { authenticate: "passkey-use", credential: "passkey-credential" } });
}
