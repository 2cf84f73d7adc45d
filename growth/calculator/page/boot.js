// Starts the calculator of a page, whose data has the controls as a table: by name its different values, and which of them
// each control has (digits with base 36), where any has that of another.
import { mount } from "./calculator.js";

const pageCalculator = document.getElementById("calculator");
if (pageCalculator) {
  const data = JSON.parse(document.getElementById("calculator-data").textContent);
  const columns = Object.entries(data.controls);
  const controls = data.controls.path[0].map((_, i) => Object.fromEntries(columns.map(([name, [values, at]]) => [name, values[at ? parseInt(at[i], 36) : i]])));
  pageCalculator.calculator = mount(pageCalculator, { ...data, controls }, { workedPlace: document.querySelector(".worked") });
}
