//! A finished SVG as PNG. It must not know what it shows.

use super::Picture;
use crate::exchange::Refused;
use resvg::{tiny_skia, usvg};

/// Most pixels of a PNG: a picture of a long groove has to be asked for by section or smaller.
pub const MOST_PIXELS: f64 = 48e6;
/// Longest side that is drawn.
const LONGEST: f64 = 60_000.0;

/// The picture as PNG with 8 bits a channel, `scale` pixels to a CSS pixel (0.1 to 8).
///
/// # Errors
/// [`Refused`] if the scale is outside its range or the picture would have more than 48 million pixels.
pub fn png(picture: &Picture, scale: f32) -> Result<Vec<u8>, Refused> {
    if !(0.1..=8.0).contains(&scale) {
        return Err(Refused::new("", format!("the scale is {scale}, allowed is a number from 0.1 to 8")));
    }
    let side = |x: f32| f64::from((x * scale).ceil().max(1.0));
    let (w, h) = (side(picture.width), side(picture.height));
    if w * h > MOST_PIXELS || w.max(h) > LONGEST {
        let words = format!(
            "the picture would have {w:.0} x {h:.0} pixels, allowed are {:.0} million: name a section, or a smaller scale",
            MOST_PIXELS / 1e6
        );
        return Err(Refused::new("", words));
    }
    let wrong = |words: String| Refused::new("", words);
    let tree = usvg::Tree::from_str(&picture.svg, &usvg::Options::default()).map_err(|e| wrong(e.to_string()))?;
    let mut map = tiny_skia::Pixmap::new(w as u32, h as u32)
        .ok_or_else(|| wrong(format!("there is no memory for {w:.0} x {h:.0} pixels")))?;
    // A side that is no whole number of pixels is drawn out to the next one, so that every pixel is covered.
    let fitted = tiny_skia::Transform::from_scale(w as f32 / picture.width, h as f32 / picture.height);
    resvg::render(&tree, fitted, &mut map.as_mut());
    encode(&map).map_err(|e| wrong(e.to_string()))
}

/// Every pixel is opaque, so three channels are enough, and one where all of them are grey.
fn encode(map: &tiny_skia::Pixmap) -> Result<Vec<u8>, png::EncodingError> {
    let pixels = map.data().chunks_exact(4);
    let grey = pixels.clone().all(|p| p[0] == p[1] && p[1] == p[2]);
    let bytes: Vec<u8> =
        if grey { pixels.map(|p| p[0]).collect() } else { pixels.flat_map(|p| [p[0], p[1], p[2]]).collect() };
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, map.width(), map.height());
    encoder.set_color(if grey { png::ColorType::Grayscale } else { png::ColorType::Rgb });
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&bytes)?;
    writer.finish()?;
    Ok(out)
}
