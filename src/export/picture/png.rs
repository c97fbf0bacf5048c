//! A finished SVG as PNG. It must not know what it shows.

use super::{Picture, Theme, raster};
use crate::notation::FormatError;
use resvg::{tiny_skia, usvg};
use std::io::Write;

/// Most pixels of a PNG: a picture of a long groove has to be asked for by section or smaller.
pub const MOST_PIXELS: f64 = 48e6;
/// Most pixels of a PNG whose scale was not asked for.
const USUAL_PIXELS: f64 = 34e6;
/// Longest side of such a PNG: what common viewers still show.
const USUAL_SIDE: f64 = 32_000.0;
/// Bytes of a chunk of a PNG's data.
const CHUNK: usize = 1 << 16;
/// Longest side that is drawn.
const LONGEST: f64 = 60_000.0;

/// The picture as PNG with 8 bits a channel, `scale` pixels to a CSS pixel (0.1 to 8).
///
/// # Errors
/// [`FormatError`] if the scale is outside its range or the picture would have more than 48 million pixels.
pub fn png(picture: &Picture, scale: f32) -> Result<Vec<u8>, FormatError> {
    if !(0.1..=8.0).contains(&scale) {
        return Err(FormatError::new("", format!("the scale is {scale}, allowed is a number from 0.1 to 8")));
    }
    let side = |x: f32| f64::from((x * scale).ceil().max(1.0));
    let (w, h) = (side(picture.width), side(picture.height));
    if w * h > MOST_PIXELS || w.max(h) > LONGEST {
        let words = format!(
            "the picture would have {w:.0} x {h:.0} pixels, allowed are {:.0} million: name a section, or a smaller scale",
            MOST_PIXELS / 1e6
        );
        return Err(FormatError::new("", words));
    }
    let wrong = |words: String| FormatError::new("", words);
    if !raster::can(&picture.drawing) {
        return drawn(picture, (w as u32, h as u32));
    }
    let (w, h) = (w as usize, h as usize);
    let grey = picture.drawing.theme == Theme::Print;
    let mut out = Vec::new();
    let mut encode = || -> Result<(), png::EncodingError> {
        let mut writer = encoder(&mut out, (w as u32, h as u32), grey).write_header()?;
        let mut stream = writer.stream_writer_with_size(CHUNK)?;
        let receive = |band: &[u8]| stream.write_all(band);
        if grey {
            raster::bands::<1, _>(&picture.drawing, (w, h), receive)?;
        } else {
            raster::bands::<3, _>(&picture.drawing, (w, h), receive)?;
        }
        stream.finish()?;
        writer.finish()
    };
    encode().map_err(|e| wrong(e.to_string()))?;
    Ok(out)
}

/// The scale that is usual for a picture: 2, or less where that would be more than 34 million pixels, in steps of a hundredth.
pub fn usual_scale(picture: &Picture) -> f32 {
    let most = (USUAL_PIXELS / (f64::from(picture.width) * f64::from(picture.height))).sqrt();
    let side = (USUAL_SIDE / f64::from(picture.width.max(picture.height))).min(most);
    ((side * 100.0).floor() / 100.0).clamp(0.1, 2.0) as f32
}

fn encoder(out: &mut Vec<u8>, (w, h): (u32, u32), grey: bool) -> png::Encoder<'_, &mut Vec<u8>> {
    let mut encoder = png::Encoder::new(out, w, h);
    encoder.set_color(if grey { png::ColorType::Grayscale } else { png::ColorType::Rgb });
    encoder.set_depth(png::BitDepth::Eight);
    // Lines and rows repeat from one row of pixels to the next: with that taken away the quickest level is as good as slow ones.
    encoder.set_filter(png::Filter::Up);
    encoder.set_deflate_compression(png::DeflateCompression::Level(1));
    encoder
}

/// The picture drawn from its SVG, for what its shapes alone do not say: hatchings.
fn drawn(picture: &Picture, (w, h): (u32, u32)) -> Result<Vec<u8>, FormatError> {
    let wrong = |words: String| FormatError::new("", words);
    let map = pixels(picture, (w, h))?;
    // Every pixel is opaque, so three channels are enough, and one where all of them are grey.
    let pixels = map.data().chunks_exact(4);
    let grey = picture.drawing.theme == Theme::Print;
    let bytes: Vec<u8> =
        if grey { pixels.map(|p| p[0]).collect() } else { pixels.flat_map(|p| [p[0], p[1], p[2]]).collect() };
    let mut out = Vec::new();
    let mut encode = || -> Result<(), png::EncodingError> {
        let mut writer = encoder(&mut out, (w, h), grey).write_header()?;
        writer.write_image_data(&bytes)?;
        writer.finish()
    };
    encode().map_err(|e| wrong(e.to_string()))?;
    Ok(out)
}

/// The pixels of a picture's SVG.
pub(super) fn pixels(picture: &Picture, (w, h): (u32, u32)) -> Result<tiny_skia::Pixmap, FormatError> {
    let wrong = |words: String| FormatError::new("", words);
    let tree = usvg::Tree::from_str(&picture.svg, &usvg::Options::default()).map_err(|e| wrong(e.to_string()))?;
    let mut map =
        tiny_skia::Pixmap::new(w, h).ok_or_else(|| wrong(format!("there is no memory for {w} x {h} pixels")))?;
    // A side that is no whole number of pixels is drawn out to the next one, so that every pixel is covered.
    let fitted = tiny_skia::Transform::from_scale(w as f32 / picture.width, h as f32 / picture.height);
    resvg::render(&tree, fitted, &mut map.as_mut());
    Ok(map)
}
