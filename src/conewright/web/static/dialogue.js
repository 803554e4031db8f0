// The dialogue works without this: it spares a search for the field that needs a look.
const wrong = document.getElementById("value-error");
if (wrong) {
  const field = document.getElementById("value");
  (field ?? document.querySelector("#answer button"))?.focus();
}
