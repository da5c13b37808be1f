// A rehearsal without a car: the same cues, sounds and picture as at the car.
import { Beats, readySounds } from "./beats.js";

const told = JSON.parse(document.getElementById("rehearsal").textContent);
const beats = new Beats(document.getElementById("beats"));
const begin = document.getElementById("begin");
const end = document.getElementById("end");

function rest() {
  begin.hidden = false;
  end.hidden = true;
}

readySounds();
begin.hidden = false;
begin.addEventListener("click", () => {
  begin.hidden = true;
  end.hidden = false;
  beats.begin({ ...told, begun_s: -told.count_in_s - 0.3, done: rest });
  end.focus();
});
end.addEventListener("click", () => {
  beats.hide();
  rest();
  begin.focus();
});
