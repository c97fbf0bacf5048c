//! All that the screen shows, in one value. It must not know how it is drawn, nor clocks or files.

use super::action::Question;
use super::columns::Scale;
use super::event::{Clicks, Head, Over, Playing, Pulses};
use super::giving::Giving;
use super::keymap::Keymap;
use super::layout::Layout;
use super::order::{Arrived, Choice, Offers, Order};
use super::practice::{Ladder, Running};
use super::table::Mode;
use super::tapping::Taps;
use super::theme::Theme;
use crate::analysis::{Ask, Finding, Hearing, Kind, Limits, Report, Scope};
use crate::rhythm::{Fraction, Groove, Time, bounds::Bound};
use crate::session::Session;
use crate::words::tap::TapOffset;
use std::sync::Arc;

/// Slowest and fastest playing speed, in percent of the written tempo.
pub static SPEED: Bound = Bound { what: "the playing speed", least: 20, greatest: 200, unit: "percent" };

/// What lies over the grid.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) enum Overlay {
    #[default]
    None,
    /// The help, from this line on.
    Help(usize),
    /// The searched list of commands.
    Find { text: String, chosen: usize },
    /// The output devices, from this line on.
    Outputs(Vec<String>, usize),
    /// A question. While nothing has been typed, `kept` says that the text is what stood there before.
    Prompt { question: Question, text: String, kept: bool, error: Option<String> },
    /// All that is said of the groove, at a block of it and a line of that.
    Full { block: usize, into: usize },
    /// Tapping along.
    Tap,
    /// What the last tapping says, at this line.
    TapReport(usize),
    /// Whether to end with work that is not saved.
    Leaving,
    /// Whether to write over a file that holds something else.
    Overwrite(Refused),
    /// What can be made, searched.
    Offers { choice: Choice, text: String, chosen: usize },
    /// What the last import had to say, from this remark on.
    Remarks(usize),
    /// Whether what was imported takes the place of work that is not saved.
    Replacing(Box<Arrived>),
}

/// A save, or something made, that was refused because of what stands there.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Refused {
    /// The groove's own file was changed by another program.
    Changed,
    /// Another file of this name is there.
    Taken(String),
    /// A file that was to be made is there: what was asked for, and the file.
    Order(Box<Order>, String),
}

/// What is written on the attacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Labels {
    #[default]
    Groups,
    Pitches,
    None,
}

/// How many hearings have a strip.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Strips {
    #[default]
    Two,
    /// As many as there is room for.
    All,
}

/// Whose attacks the hearings are found for.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) enum Focus {
    /// The first heard layer with attacks.
    #[default]
    First,
    /// One layer.
    Layer(usize),
    /// All heard layers.
    All,
    /// The selection, while there is one; then all again, which stands before it in the round.
    Selection,
}

/// The newest report there is, and what it is of.
#[derive(Debug, Clone)]
pub(super) struct Shown {
    pub revision: u64,
    pub ask: Ask,
    pub report: Arc<Report>,
}

/// The line of messages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Message {
    pub words: String,
    pub warning: bool,
}

/// What sounds.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::struct_excessive_bools, reason = "each is a switch of the user's own")]
pub(super) struct Play {
    pub on: bool,
    pub percent: u16,
    pub looped: Looped,
    /// Whether the layers sound.
    pub layers: bool,
    pub beat_click: bool,
    pub hearing_click: bool,
    /// How they are clicked when they are.
    pub beat_cut: Clicks,
    pub hearing_cut: Clicks,
    /// The takes or the ladder that is played.
    pub running: Option<Running>,
    pub head: Option<Head>,
    /// Why there is no sound.
    pub silent: Option<String>,
    /// The far speaker, while one is connected.
    pub far: Option<FarSpeaker>,
    /// Ticks since the last key, to follow the playhead while nobody edits.
    pub idle: u32,
}

/// A far speaker that is connected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct FarSpeaker {
    /// Whether its line is lost for now.
    pub lost: bool,
}

/// What is asked to be played round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Looped {
    All,
    Section,
    Selection,
}

/// A hearing as the user chose it: what it is and its tempo, so that it is found again after an edit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Chosen {
    pub kind: Kind,
    pub period: f64,
}

/// Everything the program knows while it edits one groove.
#[derive(Debug, Clone)]
pub struct State {
    pub(super) session: Session,
    pub(super) keymap: Keymap,
    pub(super) theme: Theme,
    pub(super) size: (u16, u16),
    pub(super) zoom: i32,
    /// First column of the section that is shown.
    pub(super) scroll: usize,
    /// First layer that is shown.
    pub(super) top_layer: usize,
    pub(super) labels: Labels,
    pub(super) strips: Strips,
    pub(super) focus: Focus,
    pub(super) limits: Limits,
    pub(super) report: Option<Shown>,
    /// A save that waits for the user's word until nothing else is asked.
    pub(super) refused: Option<Refused>,
    pub(super) overlay: Overlay,
    pub(super) message: Option<Message>,
    pub(super) marking: bool,
    pub(super) chosen: Option<Chosen>,
    /// Hearings that are clicked beside the one of the strip.
    pub(super) also: Vec<Chosen>,
    pub(super) play: Play,
    /// The ladder as last asked for.
    pub(super) ladder: Ladder,
    /// What has been practised so far, in a line.
    pub(super) progress: Option<String>,
    pub(super) taps: Taps,
    pub(super) giving: Giving,
    /// The file's name as shown; `None` before the first save.
    pub(super) file: Option<String>,
    /// Whether the program ends when the save under way has ended well.
    pub(super) leaving: bool,
    /// Whether the mouse is held down on the grid.
    pub(super) dragging: bool,
}

impl State {
    /// A state that shows a groove in a window of so many columns and rows.
    pub fn new(groove: Groove, file: Option<String>, keymap: Keymap, theme: Theme, size: (u16, u16)) -> Self {
        Self {
            session: Session::new(groove),
            keymap,
            theme,
            size,
            zoom: 0,
            scroll: 0,
            top_layer: 0,
            labels: Labels::default(),
            strips: Strips::default(),
            focus: Focus::default(),
            limits: Limits::default(),
            report: None,
            refused: None,
            overlay: Overlay::default(),
            message: None,
            marking: false,
            chosen: None,
            also: Vec::new(),
            play: Play {
                on: false,
                percent: 100,
                looped: Looped::All,
                layers: true,
                beat_click: false,
                hearing_click: false,
                beat_cut: Clicks::Plain,
                hearing_cut: Clicks::Plain,
                running: None,
                head: None,
                silent: None,
                far: None,
                idle: 0,
            },
            ladder: Ladder::default(),
            progress: None,
            taps: Taps::default(),
            giving: Giving::default(),
            file,
            leaving: false,
            dragging: false,
        }
    }

    /// The same with the limits of the user's ear.
    #[must_use]
    pub fn with_limits(self, limits: Limits) -> Self {
        Self { limits, ..self }
    }

    /// The same with what is taken off every tap, and whether the keys come over a line of unknown delay.
    #[must_use]
    pub fn with_taps(self, offset: TapOffset, far_line: bool) -> Self {
        Self { taps: Taps { offset, far_line, ..self.taps }, ..self }
    }

    /// The same with what can be made of a groove.
    #[must_use]
    pub fn with_offers(mut self, offers: Offers) -> Self {
        self.giving.offers = offers;
        self
    }

    /// Shows a message until the next key.
    pub fn tell(&mut self, words: impl Into<String>, warning: bool) {
        self.message = Some(Message { words: words.into(), warning });
    }

    /// Notes that the groove comes from the journal and the file on the disk is another one.
    pub fn recovered(&mut self, on_disk: Groove) {
        self.session.set_saved_as(on_disk);
    }

    /// The groove as it is now.
    pub fn groove(&self) -> &Arc<Groove> {
        self.session.groove()
    }

    /// The name of its file; `None` before the first save.
    pub fn file(&self) -> Option<&str> {
        self.file.as_deref()
    }

    /// Its revision.
    pub fn revision(&self) -> u64 {
        self.session.revision()
    }

    /// Whether the groove differs from the file.
    pub fn is_changed(&self) -> bool {
        self.session.is_changed()
    }

    /// Whether something sounds or is asked to.
    pub fn is_playing(&self) -> bool {
        self.play.on
    }

    /// The mode in which keys are looked up.
    pub(super) fn mode(&self) -> Mode {
        match self.overlay {
            Overlay::None => Mode::Grid,
            Overlay::Help(_)
            | Overlay::Outputs(..)
            | Overlay::Full { .. }
            | Overlay::TapReport(_)
            | Overlay::Remarks(_) => Mode::List,
            Overlay::Tap => Mode::Tap,
            Overlay::Find { .. } | Overlay::Prompt { .. } | Overlay::Offers { .. } => Mode::Typing,
            Overlay::Leaving => Mode::Leaving,
            Overlay::Overwrite(_) => Mode::Overwriting,
            Overlay::Replacing(_) => Mode::Replacing,
        }
    }

    pub(super) fn layout(&self) -> Option<Layout> {
        Layout::new(self.size.0, self.size.1, self.groove().layers().len(), self.strips == Strips::All)
    }

    pub(super) fn scale(&self) -> Scale {
        Scale::new(self.groove(), self.session.cursor().place.section, self.zoom)
    }

    /// The newest report, and whether it is of this groove.
    pub(super) fn report(&self) -> Option<(&Report, bool)> {
        self.report.as_ref().map(|shown| (&*shown.report, shown.revision == self.revision()))
    }

    /// Whose attacks the newest report's hearings are found for, in words, and whether that is what is asked now.
    pub(super) fn heard_in(&self) -> Option<(String, bool)> {
        let shown = self.report.as_ref()?;
        let name = |l: &usize| self.groove().layers().get(*l).map(|l| l.name.clone());
        let layers: Vec<String> = shown.report.focus.iter().filter_map(name).collect();
        let words = match (&shown.ask.scope.region, &layers[..]) {
            (Some(_), [_] | []) => "selection".to_owned(),
            (Some(_), several) => format!("selection of {} layers", several.len()),
            (None, [only]) => only.clone(),
            (None, []) => "nothing yet".to_owned(),
            (None, several) => format!("{} layers", several.len()),
        };
        Some((words, shown.ask == self.ask()))
    }

    /// The hearing of the strip: the chosen one, or else the best that is not the written beat.
    pub(super) fn strip(&self) -> Option<(usize, &Hearing)> {
        let (report, _) = self.report()?;
        let chosen = self.chosen.and_then(|c| self.find(c));
        chosen.or_else(|| report.hearings.iter().enumerate().find(|(_, h)| h.kind != Kind::Written))
    }

    /// The hearing that is most like the one that was chosen.
    pub(super) fn find(&self, chosen: Chosen) -> Option<(usize, &Hearing)> {
        let near = |h: &Hearing| (h.period() / chosen.period).ln().abs();
        let (report, _) = self.report()?;
        let same = report.hearings.iter().enumerate().filter(|(_, h)| h.kind == chosen.kind);
        same.min_by(|a, b| near(a.1).total_cmp(&near(b.1)))
    }

    /// The hearings that are clicked: the one of the strip if it is, and the others.
    pub(super) fn clicked(&self, strip: bool, also: bool) -> Vec<usize> {
        let mut clicked: Vec<usize> = self.strip().filter(|_| strip).map(|(i, _)| i).into_iter().collect();
        for (i, _) in self.also.iter().filter(|_| also).filter_map(|c| self.find(*c)) {
            if !clicked.contains(&i) {
                clicked.push(i);
            }
        }
        clicked
    }

    /// The written beat among the hearings.
    pub(super) fn written(&self) -> Option<&Hearing> {
        self.report()?.0.hearings.iter().find(|h| h.kind == Kind::Written)
    }

    pub(super) fn findings(&self) -> &[Finding] {
        self.report.as_ref().map_or(&[], |shown| &shown.report.findings)
    }

    /// Playing speed, exact.
    pub(super) fn speed(&self) -> Fraction {
        Fraction::new(i64::from(self.play.percent), 100).unwrap_or(Fraction::ONE)
    }

    /// What is asked of the analysis.
    pub(super) fn ask(&self) -> Ask {
        let region = self.session.selection().filter(|_| self.focus == Focus::Selection);
        let layers = match self.focus {
            Focus::First | Focus::Selection => Vec::new(),
            Focus::Layer(layer) => vec![layer],
            Focus::All => (0..self.groove().layers().len()).filter(|l| self.groove().heard(*l)).collect(),
        };
        Ask { scope: Scope { layers, region }, speed: self.speed(), limits: self.limits }
    }

    /// What is to be heard.
    pub(super) fn playing(&self) -> Playing {
        self.playing_as((self.play.layers, self.play.beat_click, self.play.hearing_click), true)
    }

    /// What is to be heard when layers, written beat and the hearing of the strip sound or not, and the other hearings or not.
    pub(super) fn playing_as(&self, (layers, beat, hearing): (bool, bool, bool), also: bool) -> Playing {
        let section = self.session.cursor().place.section;
        let over = match (self.play.looped, self.session.selection()) {
            (Looped::Selection, Some(r)) => Over::Part { section: r.section, from: r.from, to: r.to },
            (Looped::Section | Looped::Selection, _) => Over::Section(section),
            (Looped::All, _) => Over::All,
        };
        Playing {
            groove: self.groove().clone(),
            speed: self.speed(),
            over,
            layers,
            beat: if beat { self.play.beat_cut } else { Clicks::Off },
            lines: self.lines(over, &self.clicked(hearing, also)),
        }
    }

    fn lines(&self, over: Over, clicked: &[usize]) -> Vec<Pulses> {
        let Some((report, _)) = self.report() else { return Vec::new() };
        let clock = &report.clock;
        let lead = match over {
            Over::All => Some(0.0),
            Over::Section(section) => clock.seconds(section, 0, Time::ZERO),
            Over::Part { section, from, .. } => clock.seconds(section, 0, from),
        };
        let line = |(index, hearing): (usize, usize)| {
            Some(Pulses {
                pulses: Arc::new(report.hearings.get(hearing)?.pulses.clone()),
                length: clock.total(),
                clicks: self.play.hearing_cut,
                index: index as u8,
                lead: lead.unwrap_or(0.0),
            })
        };
        clicked.iter().copied().enumerate().filter_map(line).collect()
    }
}
