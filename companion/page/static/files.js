// A file dropped anywhere on a page that wants one is chosen, as if by the button.
const field = document.querySelector('input[type="file"]');
const said = document.getElementById("dropped");
if (field && said) {
  const words = said.dataset;
  document.addEventListener("dragover", (event) => { event.preventDefault(); document.body.classList.add("dropping"); });
  for (const name of ["dragleave", "drop"]) document.addEventListener(name, () => document.body.classList.remove("dropping"));
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    if (!event.dataTransfer.files.length) return;
    const chosen = new DataTransfer();
    for (const file of field.multiple ? event.dataTransfer.files : [event.dataTransfer.files[0]]) chosen.items.add(file);
    field.files = chosen.files;
    field.focus();
    said.textContent = words.chosen.replace("{names}", [...field.files].map((file) => file.name).join(", "));
  });
}
