// Runs where the sound is made: hands every block that the microphone gives to the page.

class Tap extends AudioWorkletProcessor {
  process([input]) {
    if (input[0]) this.port.postMessage(input[0].slice());
    return true;
  }
}

registerProcessor("tap", Tap);
