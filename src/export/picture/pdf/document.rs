//! A PDF document: pages, and the bundled font if a page has text.

use crate::export::picture::font;
use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Content, Filter, Finish, Name, Pdf, Rect, Ref, Str, TextStr};
use std::collections::BTreeMap;

/// The name of the font in the resources of a page.
pub(super) const FONT_NAME: Name<'_> = Name(b"F1");
const BASE_FONT: Name<'_> = Name(b"TEETER+DejaVuSans");
/// Glyph indices as they are in the font file.
const IDENTITY: SystemInfo<'_> = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };

pub(crate) struct PdfDocument {
    pdf: Pdf,
    last: i32,
    catalog: Ref,
    tree: Ref,
    font: Ref,
    pages: Vec<Ref>,
    /// The glyphs that the text uses, with their characters.
    pub(super) glyphs: BTreeMap<u16, char>,
}

impl PdfDocument {
    pub(crate) fn new() -> Self {
        let [catalog, tree, font] = [1, 2, 3].map(Ref::new);
        Self { pdf: Pdf::new(), last: 3, catalog, tree, font, pages: Vec::new(), glyphs: BTreeMap::new() }
    }

    fn id(&mut self) -> Ref {
        self.last += 1;
        Ref::new(self.last)
    }

    /// Adds a page of a size in points.
    pub(crate) fn add_page(&mut self, (width, height): (f32, f32), content: Content) {
        let (page, stream) = (self.id(), self.id());
        let bytes = compressed(&content.finish());
        self.pdf.stream(stream, &bytes).filter(Filter::FlateDecode);
        let mut row = self.pdf.page(page);
        row.media_box(Rect::new(0.0, 0.0, width, height)).parent(self.tree).contents(stream);
        let mut resources = row.resources();
        if !self.glyphs.is_empty() {
            resources.fonts().pair(FONT_NAME, self.font);
        }
        resources.finish();
        row.finish();
        self.pages.push(page);
    }

    pub(crate) fn finish(mut self, title: &str) -> Vec<u8> {
        let info = self.id();
        self.pdf.catalog(self.catalog).pages(self.tree).lang(TextStr("en"));
        self.pdf.pages(self.tree).kids(self.pages.iter().copied()).count(self.pages.len() as i32);
        self.pdf.document_info(info).title(TextStr(title));
        if !self.glyphs.is_empty() {
            self.embed_font();
        }
        self.pdf.finish()
    }

    /// Embeds the font with its own glyph indices, and the characters of the glyphs for those who search or copy.
    fn embed_font(&mut self) {
        let [cid, descriptor, file, characters] = [(); 4].map(|()| self.id());
        let mut font = self.pdf.type0_font(self.font);
        font.base_font(BASE_FONT).encoding_predefined(Name(b"Identity-H")).descendant_font(cid).to_unicode(characters);
        font.finish();
        let mut row = self.pdf.cid_font(cid);
        row.subtype(CidFontType::Type2).base_font(BASE_FONT).system_info(IDENTITY).font_descriptor(descriptor);
        row.cid_to_gid_map_predefined(Name(b"Identity"));
        let mut widths = row.widths();
        for (glyph, c) in &self.glyphs {
            widths.consecutive(*glyph, [font::width(c.encode_utf8(&mut [0; 4]), 1000.0)]);
        }
        widths.finish();
        row.finish();
        let found = font::metrics();
        let [left, bottom, right, top] = found.bounds;
        let mut row = self.pdf.font_descriptor(descriptor);
        row.name(BASE_FONT).flags(FontFlags::SYMBOLIC).bbox(Rect::new(left, bottom, right, top)).italic_angle(0.0);
        // The width of stems is not in the file; readers use it only to replace a font.
        row.ascent(found.ascent).descent(found.descent).cap_height(found.cap_height).stem_v(80.0).font_file2(file);
        row.finish();
        let bytes = compressed(font::BYTES);
        let mut stream = self.pdf.stream(file, &bytes);
        stream.filter(Filter::FlateDecode);
        stream.pair(Name(b"Length1"), font::BYTES.len() as i32);
        stream.finish();
        let mut map = UnicodeCmap::new(Name(b"teeter"), IDENTITY);
        for (glyph, c) in self.glyphs.iter().filter(|g| *g.0 != 0) {
            map.pair(*glyph, *c);
        }
        let map = compressed(&map.finish());
        self.pdf.cmap(characters, &map).filter(Filter::FlateDecode);
    }
}

fn compressed(bytes: &[u8]) -> Vec<u8> {
    miniz_oxide::deflate::compress_to_vec_zlib(bytes, 6)
}
