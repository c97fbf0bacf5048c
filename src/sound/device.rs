//! Names of output devices, and how a text selects one.

#[cfg(not(feature = "audio"))]
use super::OutputError;

#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct OutputDevice {
    pub name: String,
    /// The system's identifier, which unlike the name is unique.
    pub id: String,
    pub default: bool,
}

/// Finds the device with this id or name, or else the first whose name contains the text, ignoring case.
pub(crate) fn find_device(text: &str, devices: &[OutputDevice]) -> Option<usize> {
    let low = text.to_lowercase();
    let exact = devices.iter().position(|d| d.id == text || d.name == text);
    exact.or_else(|| devices.iter().position(|d| !low.is_empty() && d.name.to_lowercase().contains(&low)))
}

#[cfg(not(feature = "audio"))]
pub(crate) fn outputs() -> Result<Vec<OutputDevice>, OutputError> {
    Err(OutputError::without_audio())
}

#[cfg(not(feature = "audio"))]
pub(crate) fn is_real_time_granted() -> bool {
    false
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
            assert_eq!(find_device(text, &devices), found, "{text}");
        }
        assert_eq!(find_device("hdmi", &devices), None);
    }
}
