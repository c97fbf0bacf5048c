//! What is said of output devices: their names, which of them a text means, what has become of one. It must not know how a device
//! is found or opened; a program that was built without sound knows none.

use super::OutputError;
use super::position::Playhead;

/// An output device of this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputDevice {
    /// Its name.
    pub name: String,
    /// What the system calls it; unlike names it stands only once.
    pub id: String,
    /// Whether it is the one that sounds where none is chosen.
    pub default: bool,
}

/// What has become of the output device; each is told once.
#[derive(Debug, Clone, PartialEq)]
pub enum DeviceEvent {
    /// It is lost. The player tries to open it again by itself; what is played waits.
    Lost(OutputError),
    /// It is back, and what is played goes on from where it was.
    Reopened,
    /// It is back at another rate, or so that nothing of the old one could be kept: if a place is given, what was played is to be built
    /// for the rate of now and played from there.
    ReopenedAtNewRate(Option<Playhead>),
}

/// Which of the devices a text means: the one of that id or that name, or else the first whose name holds it, capital letters
/// or not.
pub fn chosen(text: &str, devices: &[OutputDevice]) -> Option<usize> {
    let low = text.to_lowercase();
    let exact = devices.iter().position(|d| d.id == text || d.name == text);
    exact.or_else(|| devices.iter().position(|d| !low.is_empty() && d.name.to_lowercase().contains(&low)))
}

/// Says that the program was built without sound.
///
/// # Errors
/// Always [`OutputError`].
#[cfg(not(feature = "audio"))]
pub fn outputs() -> Result<Vec<OutputDevice>, OutputError> {
    Err(OutputError::without())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_output_is_chosen_by_id_name_or_part_of_a_name() {
        let device = |name: &str, id: &str| OutputDevice { name: name.into(), id: id.into(), default: false };
        let devices = [device("Speakers, inside", "hw:0"), device("Headset USB", "hw:1"), device("hw:0 too", "hw:2")];
        let rows = [("hw:0", Some(0)), ("Headset USB", Some(1)), ("usb", Some(1)), ("TOO", Some(2)), ("", None)];
        for (text, found) in rows {
            assert_eq!(chosen(text, &devices), found, "{text}");
        }
        assert_eq!(chosen("hdmi", &devices), None);
    }
}
