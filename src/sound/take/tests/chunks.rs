//! A WAV file as the RIFF standard has it, taken apart.

/// The chunks of a RIFF file in order, read as the standard has them.
pub(super) fn riff(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().expect("four")) as usize;
    assert_eq!((&bytes[..4], word(4) + 8, &bytes[8..12]), (&b"RIFF"[..], bytes.len(), &b"WAVE"[..]));
    inner(&bytes[12..])
}

/// The chunks that follow each other in these bytes.
pub(super) fn inner(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let (mut at, mut chunks) = (0, Vec::new());
    while at < bytes.len() {
        let size = u32::from_le_bytes(bytes[at + 4..at + 8].try_into().expect("four")) as usize;
        let kind = String::from_utf8(bytes[at..at + 4].to_vec()).expect("letters");
        chunks.push((kind, bytes[at + 8..at + 8 + size].to_vec()));
        at += 8 + size + size % 2;
    }
    assert_eq!(at, bytes.len());
    chunks
}

/// Its samples, two by two.
pub(in crate::sound) fn samples(bytes: &[u8]) -> Vec<(f64, f64)> {
    let data = riff(bytes).into_iter().find(|c| c.0 == "data").expect("data").1;
    let value = |b: &[u8]| f64::from(i32::from_le_bytes([0, b[0], b[1], b[2]]) >> 8) / 8_388_607.0;
    data.chunks(6).map(|f| (value(&f[..3]), value(&f[3..]))).collect()
}
