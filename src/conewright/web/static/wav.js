// WAV with floating-point samples (format 3), which holds what was recorded without a step.

export function wav(channels, rate) {
  const count = channels[0].length;
  const bytes = new ArrayBuffer(58 + 4 * count * channels.length);
  const view = new DataView(bytes);
  const word = (at, text) => [...text].forEach((each, i) => view.setUint8(at + i, each.charCodeAt(0)));
  const frame = 4 * channels.length;
  word(0, "RIFF");
  view.setUint32(4, bytes.byteLength - 8, true);
  word(8, "WAVEfmt ");
  view.setUint32(16, 18, true);
  view.setUint16(20, 3, true);
  view.setUint16(22, channels.length, true);
  view.setUint32(24, rate, true);
  view.setUint32(28, rate * frame, true);
  view.setUint16(32, frame, true);
  view.setUint16(34, 32, true);
  view.setUint16(36, 0, true);
  // Every format but plain PCM says how many samples there are.
  word(38, "fact");
  view.setUint32(42, 4, true);
  view.setUint32(46, count, true);
  word(50, "data");
  view.setUint32(54, frame * count, true);
  channels.forEach((samples, channel) => {
    for (let i = 0; i < count; i += 1) view.setFloat32(58 + frame * i + 4 * channel, samples[i], true);
  });
  return new Blob([bytes], { type: "audio/wav" });
}
