//! A shape that is drawn again and again about a point: its outline, and the same as text of an SVG path. It must not know its ink
//! nor its places.

/// Hundredths of a CSS pixel: what a picture's numbers are rounded to.
pub(super) type Point = (i32, i32);

/// Hundredths of a length.
pub(super) fn hundredths(x: f32) -> i32 {
    (f64::from(x) * 100.0).round() as i32
}

/// Puts a number of hundredths after what stands there, as short as a path allows.
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

/// A command of an outline, its points from the stamp's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    Move(Point),
    Line(Point),
    Quad(Point, Point),
    Cubic(Point, Point, Point),
    Close,
}

/// An outline about a point.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Stamp {
    steps: Vec<Step>,
    /// Where it begins, and what follows as commands relative to that.
    first: Point,
    svg: String,
    at: Point,
    start: Point,
    closed: usize,
}

impl Stamp {
    pub(super) fn steps(&self) -> &[Step] {
        &self.steps
    }

    /// Where it begins, all that follows relative to it, and where it ends.
    pub(super) fn relative(&self) -> (Point, &str, Point) {
        (self.first, &self.svg, self.at)
    }

    /// Its least and greatest height from its own point, handles of curves counted.
    pub(super) fn reach(&self) -> (i32, i32) {
        let ys = |step: &Step| match *step {
            Step::Move(p) | Step::Line(p) => [p.1; 3],
            Step::Quad(a, p) => [a.1, p.1, p.1],
            Step::Cubic(a, b, p) => [a.1, b.1, p.1],
            Step::Close => [0; 3],
        };
        let all = || self.steps.iter().flat_map(ys);
        (all().min().unwrap_or(0), all().max().unwrap_or(0))
    }

    /// Closed shapes in it.
    #[cfg(test)]
    pub(super) fn closed(&self) -> usize {
        self.closed
    }

    fn point(x: f32, y: f32) -> Point {
        (hundredths(x), hundredths(y))
    }

    fn command(&mut self, command: char, points: &[Point]) {
        self.svg.push(command);
        for p in points {
            put(&mut self.svg, p.0 - self.at.0);
            put(&mut self.svg, p.1 - self.at.1);
        }
        self.at = points.last().copied().unwrap_or(self.at);
    }

    pub(super) fn move_to(&mut self, x: f32, y: f32) {
        let p = Self::point(x, y);
        if self.steps.is_empty() {
            (self.first, self.at) = (p, p);
        } else {
            self.command('m', &[p]);
        }
        self.start = p;
        self.steps.push(Step::Move(p));
    }

    pub(super) fn line_to(&mut self, x: f32, y: f32) {
        let p = Self::point(x, y);
        self.svg_line(p);
        self.steps.push(Step::Line(p));
    }

    fn svg_line(&mut self, p: Point) {
        let from = self.at;
        line(&mut self.svg, from, p);
        self.at = p;
    }

    pub(super) fn quad_to(&mut self, a: (f32, f32), to: (f32, f32)) {
        let (a, p) = (Self::point(a.0, a.1), Self::point(to.0, to.1));
        self.command('q', &[a, p]);
        self.steps.push(Step::Quad(a, p));
    }

    pub(super) fn cubic_to(&mut self, a: (f32, f32), b: (f32, f32), to: (f32, f32)) {
        let (a, b, p) = (Self::point(a.0, a.1), Self::point(b.0, b.1), Self::point(to.0, to.1));
        self.command('c', &[a, b, p]);
        self.steps.push(Step::Cubic(a, b, p));
    }

    pub(super) fn close(&mut self) {
        self.svg.push('z');
        self.at = self.start;
        self.closed += 1;
        self.steps.push(Step::Close);
    }

    /// Lines through points, each from the stamp's own.
    pub(crate) fn lines(&mut self, points: &[(f32, f32)], closed: bool) {
        for (i, (x, y)) in points.iter().enumerate() {
            if i == 0 { self.move_to(*x, *y) } else { self.line_to(*x, *y) }
        }
        if closed {
            self.close();
        }
    }

    /// Closed lines and curves: each command of a path (`M`, `L`, `Q`, `C`, `Z`) with its points.
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

    /// A box.
    pub(crate) fn rect(&mut self, x: f32, y: f32, w: f32, h: f32) {
        self.lines(&[(x, y), (x + w, y), (x + w, y + h), (x, y + h)], true);
    }

    /// An ellipse about a point, turned by an angle in radians; the other way round as a hole.
    pub(crate) fn ellipse(&mut self, (x, y): (f32, f32), (rx, ry): (f32, f32), turn: f32, hole: bool) {
        // Distance of the handles for a quarter of a circle.
        const HANDLE: f32 = 0.5523;
        let (sin, cos) = turn.sin_cos();
        let way = if hole { -1.0 } else { 1.0 };
        let at = |u: f32, v: f32| {
            let (u, v) = (u * rx, v * ry * way);
            (x + u * cos - v * sin, y + u * sin + v * cos)
        };
        let (from, across, h) = (at(1.0, 0.0), at(-1.0, 0.0), HANDLE);
        self.move_to(from.0, from.1);
        let begin = self.at;
        for (a, b, to) in [
            (at(1.0, h), at(h, 1.0), at(0.0, 1.0)),
            (at(-h, 1.0), at(-1.0, h), across),
            (at(-1.0, -h), at(-h, -1.0), at(0.0, -1.0)),
            (at(h, -1.0), at(1.0, -h), from),
        ] {
            let point = |p: (f32, f32)| Self::point(p.0, p.1);
            self.steps.push(Step::Cubic(point(a), point(b), point(to)));
        }
        // A little less than the radius: it is drawn out until both ends are met, never bent to meet them.
        let (rx, ry) = (hundredths(rx) - 2, hundredths(ry) - 2);
        for to in [Self::point(across.0, across.1), begin] {
            self.svg.push('a');
            put(&mut self.svg, rx);
            put(&mut self.svg, ry);
            put(&mut self.svg, if rx == ry { 0 } else { hundredths(turn.to_degrees()) });
            self.svg.push_str(if hole { " 0 0" } else { " 0 1" });
            put(&mut self.svg, to.0 - self.at.0);
            put(&mut self.svg, to.1 - self.at.1);
            self.at = to;
        }
        self.close();
    }
}

/// A straight line as a command relative to where it begins.
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
