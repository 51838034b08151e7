// Unpacks what the server packs; the layout is described in crankwise/web/packing.py.

const KINDS = { f32: Float32Array, f64: Float64Array, i16: Int16Array, i32: Int32Array, u8: Uint8Array };

export function unpacked(buffer) {
  const length = new DataView(buffer).getUint32(4, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 8, length)));
  const arrays = {};
  for (const [name, kind, count, offset] of head.arrays) {
    arrays[name] = new KINDS[kind](buffer, 8 + length + offset, count);
  }
  return { ...head, arrays };
}
