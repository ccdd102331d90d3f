import { listen, showGone } from "./stream.js";

const volts = document.querySelector("#volts"), gone = document.querySelector(".gone");
listen("/events", { volts: (v) => { volts.textContent = v + " V"; } }, (well, why) => showGone(gone, well, why));
