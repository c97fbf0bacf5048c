//! Tests of the voices: frequency band, pitch and duration of each.

use super::*;
use std::f64::consts::TAU;

const RATE: SampleRate = SampleRate::STUDIO;

fn synthesize(voice: Voice, pitch: Option<u8>, accent: Accent) -> Vec<f32> {
    SynthKey::new(RATE, voice, pitch.and_then(Pitch::new), accent).synthesize()
}

/// Power at one frequency by the plain sum of the discrete Fourier transform.
fn power(sound: &[f32], hertz: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    let (sin, cos) = (TAU * hertz / f64::from(RATE.hertz())).sin_cos();
    let (mut c, mut s) = (1.0, 0.0);
    for &x in sound {
        re += f64::from(x) * c;
        im += f64::from(x) * s;
        (c, s) = (c * cos - s * sin, c * sin + s * cos);
    }
    re * re + im * im
}

/// Share of the energy of the first 4096 frames that lies between two frequencies.
fn share(sound: &[f32], from: f64, to: f64) -> f64 {
    let mut window = sound[..sound.len().min(4096)].to_vec();
    window.resize(4096, 0.0);
    let step = f64::from(RATE.hertz()) / 4096.0;
    let bins: Vec<(f64, f64)> = (1..2048).map(|k| f64::from(k) * step).map(|hz| (hz, power(&window, hz))).collect();
    let within: f64 = bins.iter().filter(|(hz, _)| (from..to).contains(hz)).map(|(_, p)| p).sum();
    within / bins.iter().map(|(_, p)| p).sum::<f64>()
}

/// Mean of the frequencies, weighted by their power.
fn centroid(sound: &[f32]) -> f64 {
    let step = f64::from(RATE.hertz()) / 2048.0;
    let mut window = sound[..sound.len().min(2048)].to_vec();
    window.resize(2048, 0.0);
    let bins: Vec<(f64, f64)> = (1..1024).map(|k| f64::from(k) * step).map(|hz| (hz, power(&window, hz))).collect();
    bins.iter().map(|(hz, p)| hz * p).sum::<f64>() / bins.iter().map(|(_, p)| p).sum::<f64>()
}

/// Milliseconds after which the level stays 20 dB below the greatest (RMS over 2 ms).
fn falls_20_db(sound: &[f32]) -> f64 {
    let block = RATE.hertz() as usize / 500;
    let levels: Vec<f64> = sound.chunks(block).map(|c| c.iter().map(|x| f64::from(x * x)).sum::<f64>()).collect();
    let greatest = levels.iter().fold(0.0, |a: f64, &b| a.max(b));
    2.0 * levels.iter().rposition(|&l| l > greatest / 100.0).map_or(0.0, |n| (n + 1) as f64)
}

/// Period by the greatest autocorrelation near an expected one, refined by a parabola, as a frequency.
fn pitch_near(sound: &[f32], hertz: f64) -> f64 {
    let expected = f64::from(RATE.hertz()) / hertz;
    let part = &sound[2000.min(sound.len() / 4)..sound.len().min(2000 + 24_000)];
    let likeness = |lag: usize| -> f64 {
        let n = part.len() - lag;
        (0..n).map(|k| f64::from(part[k]) * f64::from(part[k + lag])).sum::<f64>() / n as f64
    };
    let lags: Vec<usize> = ((expected * 0.8) as usize..(expected * 1.25) as usize + 2).collect();
    let best = lags.into_iter().max_by(|&a, &b| likeness(a).total_cmp(&likeness(b))).expect("not empty");
    let (a, b, c) = (likeness(best - 1), likeness(best), likeness(best + 1));
    f64::from(RATE.hertz()) / (best as f64 + 0.5 * (a - c) / (a - 2.0 * b + c))
}

#[test]
fn voices_sound_in_the_band_their_name_promises() {
    let rows = [
        (Voice::Kick, 20.0, 150.0, 0.8),
        (Voice::Hat, 5000.0, 24_000.0, 0.9),
        (Voice::OpenHat, 5000.0, 24_000.0, 0.9),
        (Voice::Ride, 1500.0, 16_000.0, 0.85),
        (Voice::Crash, 800.0, 16_000.0, 0.85),
        (Voice::Cowbell, 450.0, 6000.0, 0.9),
        (Voice::LowTom, 60.0, 200.0, 0.8),
        (Voice::Shaker, 3000.0, 12_000.0, 0.8),
        (Voice::Clap, 700.0, 4000.0, 0.7),
        (Voice::Tom, 80.0, 260.0, 0.8),
        (Voice::Wood, 500.0, 4000.0, 0.9),
        (Voice::Rim, 400.0, 6000.0, 0.8),
        (Voice::Bass, 20.0, 700.0, 0.8),
        (Voice::Pluck, 120.0, 4000.0, 0.9),
    ];
    for (voice, from, to, least) in rows {
        let found = share(&synthesize(voice, None, Accent::Plain), from, to);
        assert!(found >= least, "{voice}: {found:.2} between {from} and {to} Hz");
    }
    let snare = synthesize(Voice::Snare, None, Accent::Plain);
    assert!(share(&snare, 100.0, 500.0) > 0.15, "the skin of the snare");
    assert!(share(&snare, 1000.0, 12_000.0) > 0.3, "the rattle of the snare");
}

#[test]
fn voices_last_as_long_as_their_name_promises() {
    let rows = [
        (Voice::Kick, 80.0, 400.0),
        (Voice::Snare, 40.0, 220.0),
        (Voice::Hat, 8.0, 80.0),
        (Voice::OpenHat, 120.0, 600.0),
        (Voice::Ride, 250.0, 1200.0),
        (Voice::Crash, 500.0, 2000.0),
        (Voice::Rim, 4.0, 40.0),
        (Voice::Clap, 40.0, 200.0),
        (Voice::Tom, 120.0, 500.0),
        (Voice::LowTom, 160.0, 700.0),
        (Voice::Wood, 15.0, 90.0),
        (Voice::Cowbell, 60.0, 300.0),
        (Voice::Bell, 300.0, 2500.0),
        (Voice::Shaker, 20.0, 100.0),
        (Voice::Bass, 300.0, 2600.0),
        (Voice::Pluck, 200.0, 1800.0),
    ];
    assert_eq!(rows.len(), Voice::ALL.len());
    for (voice, least, most) in rows {
        let found = falls_20_db(&synthesize(voice, None, Accent::Plain));
        assert!((least..=most).contains(&found), "{voice}: {found} ms");
    }
}

#[test]
fn the_clap_is_several_bursts() {
    let clap = synthesize(Voice::Clap, None, Accent::Accent);
    let level = |ms: f64| {
        let at = (ms * 48.0) as usize;
        clap[at..at + 96].iter().map(|x| x * x).sum::<f32>()
    };
    for (burst, gap) in [(1.0, 7.0), (10.5, 18.0), (21.5, 27.5)] {
        assert!(level(burst) > 3.0 * level(gap), "burst at {burst} ms: {} against {}", level(burst), level(gap));
    }
}

#[test]
fn the_kick_falls() {
    let kick = synthesize(Voice::Kick, None, Accent::Plain);
    let crossings = |part: &[f32]| part.windows(2).filter(|w| (w[0] < 0.0) != (w[1] < 0.0)).count();
    assert!(crossings(&kick[480..2400]) as f64 > 1.2 * crossings(&kick[4800..6720]) as f64);
}

#[test]
fn strings_sound_their_pitch() {
    for (voice, keys) in [(Voice::Pluck, [28, 40, 52, 64, 76, 88]), (Voice::Bass, [23, 28, 33, 40, 45, 52])] {
        for key in keys {
            let hertz = 440.0 * 2_f64.powf((f64::from(key) - 69.0) / 12.0);
            let found = pitch_near(&synthesize(voice, Some(key), Accent::Plain), hertz);
            assert!((found / hertz - 1.0).abs() < 0.005, "{voice} {key}: {found:.2} for {hertz:.2} Hz");
        }
    }
}

#[test]
fn bell_and_tom_sound_their_pitch_and_the_bell_is_inharmonic() {
    let tom = synthesize(Voice::Tom, Some(50), Accent::Plain);
    assert!((pitch_near(&tom[4800..], 146.83) / 146.83 - 1.0).abs() < 0.01);
    let low = synthesize(Voice::LowTom, None, Accent::Plain);
    assert!((pitch_near(&low[4800..], 87.31) / 87.31 - 1.0).abs() < 0.01);
    let bell = synthesize(Voice::Bell, Some(72), Accent::Plain);
    let at = |ratio: f64| power(&bell[..24_000], 523.25 * ratio);
    assert!(at(1.0) > 10.0 * at(1.05) && at(1.0) > 10.0 * at(0.95));
    assert!(at(1.183) > 10.0 * at(1.25), "the third of a bell is minor");
}

#[test]
fn cymbals_differ_in_brightness_and_length() {
    let measure = |voice| {
        let sound = synthesize(voice, None, Accent::Plain);
        (centroid(&sound), falls_20_db(&sound))
    };
    let (hat, open, ride, crash) =
        (measure(Voice::Hat), measure(Voice::OpenHat), measure(Voice::Ride), measure(Voice::Crash));
    assert!(2.0 * ride.0 < hat.0 && crash.0 < hat.0, "hats hiss higher: {hat:?} {ride:?} {crash:?}");
    assert!(hat.1 < open.1 && open.1 < ride.1 && ride.1 < crash.1, "{hat:?} {open:?} {ride:?} {crash:?}");
}

#[test]
fn accents_differ_in_level_and_in_brightness() {
    for &voice in Voice::ALL {
        let sounds = Accent::ALL.map(|a| synthesize(voice, None, a));
        let peak = |s: &[f32]| s.iter().fold(0.0_f32, |m, x| m.max(x.abs()));
        let [ghost, soft, plain, strong, accent] = &sounds;
        assert!(peak(ghost) < 0.5 * peak(plain) && peak(plain) < 0.8 * peak(accent), "{voice}");
        assert!(centroid(ghost) < centroid(plain) && centroid(plain) < centroid(accent), "{voice}");
        // The levels between are halfway in dB.
        for [softer, middle, louder] in [[ghost, soft, plain], [plain, strong, accent]] {
            let halfway = (peak(softer) * peak(louder)).sqrt();
            assert!((20.0 * (peak(middle) / halfway).log10()).abs() < 0.5, "{voice}");
        }
    }
}

#[test]
fn sounds_begin_at_once_end_softly_and_are_the_same_every_time() {
    for rate in [8_000, 22_050, 44_100, 192_000].map(|r| SampleRate::new(r).expect("valid")) {
        for &voice in Voice::ALL {
            for key in [0, 60, 127] {
                let sound = SynthKey::new(rate, voice, Pitch::new(key), Accent::Accent).synthesize();
                assert!(sound.iter().all(|x| x.is_finite() && x.abs() <= 1.0), "{voice} {key}");
                assert!(sound.last().is_some_and(|x| x.abs() < 1e-3), "{voice} {key}");
                let early = sound.iter().take((rate.hertz() / 50) as usize).fold(0.0_f32, |m, x| m.max(x.abs()));
                assert!(early > 0.05, "{voice} {key} is late: {early}");
                assert!(sound.iter().sum::<f32>().abs() / (sound.len() as f32) < 0.02, "{voice} {key} has an offset");
            }
        }
    }
    let key = SynthKey::new(RATE, Voice::Snare, None, Accent::Plain);
    assert_eq!(key.synthesize(), key.synthesize());
    assert!(Arc::ptr_eq(&sound(key), &sound(key)));
}

#[test]
fn clicks_are_told_apart_by_pitch() {
    for &sound in ClickSound::ALL {
        let beats = [Accent::Accent, Accent::Plain].map(|accent| (Tone::Beat(sound), accent));
        let mut tones: Vec<f64> = (0..CLICK_TONES)
            .map(|tone| (Tone::Line(sound, tone), Accent::Plain))
            .chain(beats)
            .map(|(tone, accent)| {
                let click = SynthKey { rate: RATE, tone, accent }.synthesize();
                let candidates = (300..4000).map(|hz| (f64::from(hz), power(&click, f64::from(hz))));
                candidates.max_by(|a, b| a.1.total_cmp(&b.1)).expect("not empty").0
            })
            .collect();
        tones.sort_by(f64::total_cmp);
        for pair in tones.windows(2) {
            assert!(pair[1] / pair[0] > 1.24, "{sound}: {tones:?}");
        }
    }
}

#[test]
fn the_sounds_of_clicks_differ_in_length_and_begin_at_once() {
    let click = |sound| SynthKey { rate: RATE, tone: Tone::Beat(sound), accent: Accent::Plain }.synthesize();
    let [tick, block, beep] = [ClickSound::Tick, ClickSound::Block, ClickSound::Beep].map(click);
    assert!(falls_20_db(&tick) < 40.0 && falls_20_db(&block) < 50.0 && falls_20_db(&beep) >= 40.0);
    assert!(tick != block && block != beep);
    for sound in [&tick, &block, &beep] {
        let peak = |frames: usize| sound.iter().take(frames).fold(0.0_f32, |m, x| m.max(x.abs()));
        assert!(peak(96) > 0.7 * peak(usize::MAX), "within 2 ms");
    }
    assert_eq!(ClickSound::Beep.next(), ClickSound::Tick);
}
