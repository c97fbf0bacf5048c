//! Pictures as PNG.

use super::{Picture, Theme};
use crate::notation::FormatError;
use crate::rhythm::expected;
use resvg::{tiny_skia, usvg};
use std::io::Write;

/// Maximum number of pixels: a long groove is exported by section or at a smaller scale.
pub(crate) const MAX_PIXELS: f64 = 48e6;
/// Maximum number of pixels at the default scale.
const MAX_DEFAULT_PIXELS: f64 = 34e6;
/// Maximum side at the default scale: the limit of common viewers.
const MAX_DEFAULT_SIDE: f64 = 32_000.0;
const MAX_SIDE: f64 = 60_000.0;
/// Pixels drawn at a time, four bytes each.
const BAND_PIXELS: u32 = 8 << 20;
/// Bytes per data chunk of the file.
const CHUNK: usize = 1 << 16;

/// The picture as PNG with 8 bits a channel, `scale` pixels to a CSS pixel (0.1 to 8).
///
/// # Errors
/// [`FormatError`] if the scale is outside its range or the picture would have more than 48 million pixels.
pub fn png(picture: &Picture, scale: f32) -> Result<Vec<u8>, FormatError> {
    if !(0.1..=8.0).contains(&scale) {
        return Err(FormatError::new("", expected("a scale from 0.1 to 8", scale)));
    }
    let side = |x: f32| f64::from((x * scale).ceil().max(1.0));
    let (w, h) = (side(picture.drawing.width), side(picture.drawing.height));
    if w * h > MAX_PIXELS || w.max(h) > MAX_SIDE {
        let wanted = format!("at most {:.0} million pixels", MAX_PIXELS / 1e6);
        let message = expected(wanted, format!("{w:.0} x {h:.0}; export one section, or use a smaller scale"));
        return Err(FormatError::new("", message));
    }
    let mut bytes = Vec::new();
    encode(picture, (w as u32, h as u32), &mut bytes).map_err(|e| FormatError::new("", e.to_string()))?;
    Ok(bytes)
}

/// The default scale of a picture: 2, or less where that would be more than 34 million pixels, in steps of a hundredth.
pub(crate) fn default_scale(picture: &Picture) -> f32 {
    let by_area = (MAX_DEFAULT_PIXELS / (f64::from(picture.drawing.width) * f64::from(picture.drawing.height))).sqrt();
    let by_side = MAX_DEFAULT_SIDE / f64::from(picture.drawing.width.max(picture.drawing.height));
    ((by_area.min(by_side) * 100.0).floor() / 100.0).clamp(0.1, 2.0) as f32
}

/// Renders and compresses the SVG in bands, so that memory does not grow with the picture.
fn encode(picture: &Picture, (w, h): (u32, u32), out: &mut Vec<u8>) -> Result<(), Box<dyn std::error::Error>> {
    let tree = usvg::Tree::from_str(&picture.svg(), &usvg::Options::default())?;
    let grey = picture.drawing.theme == Theme::Print;
    let mut encoder = png::Encoder::new(out, w, h);
    encoder.set_color(if grey { png::ColorType::Grayscale } else { png::ColorType::Rgb });
    encoder.set_depth(png::BitDepth::Eight);
    // Consecutive rows are similar: after the Up filter the fastest level compresses as well as slower ones.
    encoder.set_filter(png::Filter::Up);
    encoder.set_deflate_compression(png::DeflateCompression::Level(1));
    let mut writer = encoder.write_header()?;
    let mut stream = writer.stream_writer_with_size(CHUNK)?;
    let rows = (BAND_PIXELS / w).clamp(1, h);
    let mut band = tiny_skia::Pixmap::new(w, rows).ok_or("out of memory")?;
    let mut data = Vec::new();
    // Sides are rounded up to whole pixels; stretching covers the last one.
    let fitted = tiny_skia::Transform::from_scale(w as f32 / picture.drawing.width, h as f32 / picture.drawing.height);
    for top in (0..h).step_by(rows as usize) {
        resvg::render(&tree, fitted.post_translate(0.0, -(top as f32)), &mut band.as_mut());
        // Every pixel is opaque, and in print all channels are equal.
        let pixels = band.data().chunks_exact(4).take((w * rows.min(h - top)) as usize);
        data.clear();
        if grey {
            data.extend(pixels.map(|p| p[0]));
        } else {
            data.extend(pixels.flat_map(|p| [p[0], p[1], p[2]]));
        }
        stream.write_all(&data)?;
    }
    stream.finish()?;
    Ok(writer.finish()?)
}
