// Printing from a button; without this script the browser's own command does the same.
const button = document.getElementById("print");
if (button) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
