// The microphone without echo cancelling, noise reduction or gain control: they bend a sung pitch.
export async function microphone() {
  if (!navigator.mediaDevices) throw Object.assign(new Error(), { name: "NotFoundError" });
  return navigator.mediaDevices.getUserMedia({ audio: {
    echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 } });
}

// Why there is none, in the words of the page.
export function why(error, words) {
  return { NotFoundError: words.none, NotAllowedError: words.denied, SecurityError: words.denied }[error.name] ?? words.busy;
}
