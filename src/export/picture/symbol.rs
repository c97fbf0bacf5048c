//! A shape that can be drawn at many points, as SVG path commands relative to its start.

/// In hundredths of a CSS pixel, to which the coordinates of pictures are rounded.
pub(super) type Point = (i32, i32);

pub(super) fn hundredths(x: f32) -> i32 {
    (f64::from(x) * 100.0).round() as i32
}

/// Appends a number of hundredths to a path, in the shortest form.
pub(super) fn put(out: &mut String, value: i32) {
    if value >= 0 && !out.ends_with(|c: char| c.is_ascii_alphabetic()) {
        out.push(' ');
    }
    if value < 0 {
        out.push('-');
    }
    let value = value.unsigned_abs();
    let (whole, rest) = (value / 100, value % 100);
    if whole > 0 || rest == 0 {
        let (mut digits, mut at, mut left) = ([b'0'; 10], 10, whole);
        while at == 10 || left > 0 {
            at -= 1;
            digits[at] = b'0' + (left % 10) as u8;
            left /= 10;
        }
        out.extend(digits[at..].iter().map(|d| char::from(*d)));
    }
    if rest > 0 {
        out.push('.');
        out.push(char::from(b'0' + (rest / 10) as u8));
        if rest % 10 > 0 {
            out.push(char::from(b'0' + (rest % 10) as u8));
        }
    }
}

#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Symbol {
    first: Point,
    /// The commands after the move to `first`.
    svg: String,
    at: Point,
    /// Start of the current subpath.
    start: Point,
    /// Number of closed subpaths.
    pub(super) closed: usize,
    /// The smallest rectangle around its points, control points included: its upper left and lower right corner.
    corners: Option<(Point, Point)>,
}

impl Symbol {
    /// Its start, the commands relative to it, and its end.
    pub(super) fn relative(&self) -> (Point, &str, Point) {
        (self.first, &self.svg, self.at)
    }

    /// The smallest rectangle around its points, control points included: its upper left and lower right corner.
    pub(super) fn corners(&self) -> Option<(Point, Point)> {
        self.corners
    }

    fn point(x: f32, y: f32) -> Point {
        (hundredths(x), hundredths(y))
    }

    fn include(&mut self, p: Point) {
        let (low, high) = self.corners.unwrap_or((p, p));
        self.corners = Some(((low.0.min(p.0), low.1.min(p.1)), (high.0.max(p.0), high.1.max(p.1))));
    }

    fn command(&mut self, command: char, points: &[Point]) {
        self.svg.push(command);
        for p in points {
            self.include(*p);
            put(&mut self.svg, p.0 - self.at.0);
            put(&mut self.svg, p.1 - self.at.1);
        }
        self.at = points.last().copied().unwrap_or(self.at);
    }

    pub(super) fn move_to(&mut self, x: f32, y: f32) {
        let p = Self::point(x, y);
        self.include(p);
        if self.svg.is_empty() {
            (self.first, self.at) = (p, p);
        } else {
            self.command('m', &[p]);
        }
        self.start = p;
    }

    pub(super) fn line_to(&mut self, x: f32, y: f32) {
        let p = Self::point(x, y);
        self.include(p);
        line(&mut self.svg, self.at, p);
        self.at = p;
    }

    pub(super) fn quad_to(&mut self, a: (f32, f32), to: (f32, f32)) {
        let (a, p) = (Self::point(a.0, a.1), Self::point(to.0, to.1));
        self.command('q', &[a, p]);
    }

    pub(super) fn cubic_to(&mut self, a: (f32, f32), b: (f32, f32), to: (f32, f32)) {
        let (a, b, p) = (Self::point(a.0, a.1), Self::point(b.0, b.1), Self::point(to.0, to.1));
        self.command('c', &[a, b, p]);
    }

    pub(super) fn close(&mut self) {
        self.svg.push('z');
        self.at = self.start;
        self.closed += 1;
    }

    /// Lines through points relative to the symbol's position.
    pub(crate) fn lines(&mut self, points: &[(f32, f32)], closed: bool) {
        for (i, (x, y)) in points.iter().enumerate() {
            if i == 0 { self.move_to(*x, *y) } else { self.line_to(*x, *y) }
        }
        if closed {
            self.close();
        }
    }

    /// The commands of a path (`M`, `L`, `Q`, `C`, `Z`) with their absolute points.
    pub(crate) fn path(&mut self, steps: &[(char, &[(f32, f32)])]) {
        for (command, points) in steps {
            match (command, points) {
                ('M', [p]) => self.move_to(p.0, p.1),
                ('L', [p]) => self.line_to(p.0, p.1),
                ('Q', [a, p]) => self.quad_to(*a, *p),
                ('C', [a, b, p]) => self.cubic_to(*a, *b, *p),
                _ => self.close(),
            }
        }
    }

    pub(crate) fn rect(&mut self, x: f32, y: f32, w: f32, h: f32) {
        self.lines(&[(x, y), (x + w, y), (x + w, y + h), (x, y + h)], true);
    }

    /// An ellipse rotated by an angle in radians; a hole has the opposite direction.
    pub(crate) fn ellipse(&mut self, (x, y): (f32, f32), (rx, ry): (f32, f32), angle: f32, hole: bool) {
        let (sin, cos) = angle.sin_cos();
        let begin = Self::point(x + rx * cos, y + rx * sin);
        let across = Self::point(x - rx * cos, y - rx * sin);
        self.move_to(x + rx * cos, y + rx * sin);
        let (wide, high) = ((rx * cos).hypot(ry * sin), (rx * sin).hypot(ry * cos));
        self.include(Self::point(x - wide, y - high));
        self.include(Self::point(x + wide, y + high));
        // Slightly too small: renderers scale it up until it meets both ends.
        let (rx, ry) = (hundredths(rx) - 2, hundredths(ry) - 2);
        for to in [across, begin] {
            self.svg.push('a');
            put(&mut self.svg, rx);
            put(&mut self.svg, ry);
            put(&mut self.svg, if rx == ry { 0 } else { hundredths(angle.to_degrees()) });
            self.svg.push_str(if hole { " 0 0" } else { " 0 1" });
            put(&mut self.svg, to.0 - self.at.0);
            put(&mut self.svg, to.1 - self.at.1);
            self.at = to;
        }
        self.close();
    }
}

/// Appends a straight line as a relative command.
pub(super) fn line(out: &mut String, from: Point, to: Point) {
    match (to.0 - from.0, to.1 - from.1) {
        (x, 0) => {
            out.push('h');
            put(out, x);
        }
        (0, y) => {
            out.push('v');
            put(out, y);
        }
        (x, y) => {
            out.push('l');
            put(out, x);
            put(out, y);
        }
    }
}
