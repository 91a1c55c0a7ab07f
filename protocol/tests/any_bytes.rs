//! Any bytes in any chunks: round trips, and what never happens.
#![allow(clippy::unwrap_used, reason = "a test ends where it fails")]

use keyway_protocol::{
    Channel, Configure, Decoder, EncodeError, Encoder, Fault, Hello, Identity, MAX_CONTENT,
    MAX_FRAME, Message, Overrun, Reason, Refusal, SampleFormat, Samples, StreamHeader,
};
use proptest::prelude::*;

/// Small frames, so that every boundary is met often.
const SMALL: usize = 700;

/// A message that owns its texts and data.
#[derive(Debug, Clone)]
enum Owned {
    Hello(u8, u8),
    Configure(Configure),
    Identity(u8, f64, [String; 4]),
    Channel(u8, u8, [f64; 4], [String; 2]),
    Refusal(u8, u8, u8, String),
    Header(StreamHeader),
    Samples(u8, u64, Vec<u8>),
    Overrun(Overrun),
}

impl Owned {
    fn message(&self) -> Message<'_> {
        match self {
            Self::Hello(major, minor) => Message::Hello(Hello {
                version: (*major, *minor),
            }),
            Self::Configure(configure) => Message::Configure(*configure),
            Self::Identity(channels, max_rate_hz, [maker, model, serial, firmware]) => {
                Message::Identity(Identity {
                    version: (1, 0),
                    channels: *channels,
                    max_rate_hz: *max_rate_hz,
                    maker,
                    model,
                    serial,
                    firmware,
                })
            }
            Self::Channel(index, bits, [scale, offset, low, high], [name, unit]) => {
                Message::Channel(Channel {
                    index: *index,
                    bits: *bits,
                    scale: *scale,
                    offset: *offset,
                    low: *low,
                    high: *high,
                    name,
                    unit,
                })
            }
            Self::Refusal(request, tag, reason, text) => Message::Refusal(Refusal {
                request: *request,
                tag: *tag,
                reason: Reason::from_code(*reason),
                text,
            }),
            Self::Header(header) => Message::StreamHeader(*header),
            Self::Samples(stream, first_index, data) => Message::Samples(Samples {
                stream: *stream,
                first_index: *first_index,
                data,
            }),
            Self::Overrun(overrun) => Message::Overrun(*overrun),
        }
    }

    fn frame(&self) -> Vec<u8> {
        let mut out = vec![0; SMALL];
        let length = Encoder::<SMALL>::new()
            .encode(&self.message(), &mut out)
            .unwrap();
        out.truncate(length);
        out
    }
}

fn format() -> impl Strategy<Value = SampleFormat> {
    prop_oneof![Just(SampleFormat::I16), Just(SampleFormat::Packed12)]
}

fn owned() -> impl Strategy<Value = Owned> {
    let text = "[a-zµ° ]{0,20}";
    let finite = -1e9..1e9f64;
    prop_oneof![
        any::<(u8, u8)>().prop_map(|(a, b)| Owned::Hello(a, b)),
        (any::<(u8, u32, u16)>(), finite.clone(), format()).prop_map(
            |((tag, mask, n), rate_hz, format)| {
                Owned::Configure(Configure {
                    tag,
                    rate_hz,
                    mask,
                    samples_per_frame: n,
                    format,
                })
            }
        ),
        (1..=32u8, 1.0..1e9f64, [text, text, text, text])
            .prop_map(|(n, r, t)| Owned::Identity(n, r, t)),
        (
            0..32u8,
            1..=16u8,
            [finite.clone(), finite.clone(), finite.clone(), finite],
            [text, text]
        )
            .prop_map(|(i, b, v, t)| Owned::Channel(i, b, v, t)),
        (any::<(u8, u8, u8)>(), text).prop_map(|((a, b, c), t)| Owned::Refusal(a, b, c, t)),
        (
            any::<(u8, u64)>(),
            1..=u16::MAX,
            1..=u32::MAX,
            1.0..1e9f64,
            format()
        )
            .prop_map(
                |((stream, total), samples_per_frame, mask, rate_hz, format)| {
                    Owned::Header(StreamHeader {
                        stream,
                        format,
                        samples_per_frame,
                        mask,
                        rate_hz,
                        total,
                    })
                }
            ),
        (
            any::<u8>(),
            0..u64::MAX / 2,
            prop::collection::vec(prop_oneof![Just(0u8), any::<u8>()], 0..600)
        )
            .prop_map(|(s, i, d)| Owned::Samples(s, i, d)),
        (any::<u8>(), 0..u64::MAX / 2, 0..u64::MAX / 2).prop_map(|(stream, first_index, count)| {
            Owned::Overrun(Overrun {
                stream,
                first_index,
                count,
            })
        }),
    ]
}

/// Everything the decoder says of `bytes` fed in chunks of the lengths in `cuts`, over and over.
fn decode(
    decoder: &mut Decoder<SMALL>,
    bytes: &[u8],
    cuts: &[usize],
) -> Vec<Result<String, Fault>> {
    let mut said = Vec::new();
    let mut rest = bytes;
    let mut cuts = cuts.iter().cycle();
    while !rest.is_empty() {
        let length = cuts
            .next()
            .map_or(rest.len(), |cut| (*cut).clamp(1, rest.len()));
        let (mut chunk, after) = rest.split_at(length);
        rest = after;
        while let Some(outcome) = decoder.next(&mut chunk) {
            said.push(outcome.map(|message| format!("{message:?}")));
        }
    }
    said
}

fn texts(messages: &[Owned]) -> Vec<Result<String, Fault>> {
    messages
        .iter()
        .map(|owned| Ok(format!("{:?}", owned.message())))
        .collect()
}

proptest! {
    #[test]
    fn what_is_written_is_read_in_any_chunks(
        messages in prop::collection::vec(owned(), 1..8),
        cuts in prop::collection::vec(1..300usize, 1..6),
    ) {
        let wire: Vec<u8> = messages.iter().flat_map(Owned::frame).collect();
        let mut decoder = Decoder::<SMALL>::new();
        prop_assert_eq!(decode(&mut decoder, &wire, &cuts), texts(&messages));
        prop_assert_eq!(decoder.counts().bytes, wire.len() as u64);
        prop_assert_eq!(decoder.counts().frames, messages.len() as u64);
    }

    #[test]
    fn samples_come_back_as_they_were(
        planes in (1..=8usize, 1..=40usize).prop_flat_map(|(planes, samples)| {
            prop::collection::vec(prop::collection::vec(-2048..=2047i16, samples), planes)
        }),
        format in format(),
        first_index in 0..u64::MAX / 2,
    ) {
        let mut wire = vec![0; MAX_FRAME];
        let slices = planes.iter().map(Vec::as_slice);
        let length = Encoder::<MAX_CONTENT>::new()
            .encode_samples(7, first_index, format, slices, &mut wire).unwrap();
        let mut decoder = Box::new(Decoder::<MAX_FRAME>::new());
        let Some(Ok(Message::Samples(samples))) = decoder.next(&mut &wire[..length]) else {
            return Err(TestCaseError::fail("no samples"));
        };
        prop_assert_eq!((samples.stream, samples.first_index), (7, first_index));
        prop_assert_eq!(samples.count(format, planes.len()), Some(planes[0].len()));
        let read: Vec<Vec<i16>> =
            samples.planes(format, planes.len()).unwrap().map(|p| format.unpack(p).collect()).collect();
        prop_assert_eq!(read, planes);
    }

    /// Bytes that nobody framed: no panic, no message, and the next frame is understood.
    #[test]
    fn arbitrary_bytes_are_never_a_message(
        bytes in prop::collection::vec(prop_oneof![Just(0u8), any::<u8>()], 0..3000),
        cuts in prop::collection::vec(1..300usize, 1..6),
        next in owned(),
    ) {
        let mut decoder = Decoder::<SMALL>::new();
        let said = decode(&mut decoder, &bytes, &cuts);
        prop_assert!(said.iter().all(Result::is_err), "{:?}", said);
        let mut after = vec![0];
        after.extend(next.frame());
        let said = decode(&mut decoder, &after, &cuts);
        let wanted = texts(&[next]);
        prop_assert_eq!(said.last(), wanted.last());
    }

    /// One frame of three is damaged: the first and the last are read, and nothing false between.
    #[test]
    fn a_damaged_frame_is_dropped_and_the_next_is_read(
        messages in [owned(), owned(), owned()],
        at in any::<prop::sample::Index>(),
        flip in 1..=255u8,
        burst in 1..4usize,
        cuts in prop::collection::vec(1..300usize, 1..6),
    ) {
        let frames = messages.clone().map(|owned| owned.frame());
        let mut damaged = frames[1].clone();
        // The delimiter is left: damage to it merges two frames, which the next test does.
        let body = damaged.len() - 1;
        let begin = at.index(body);
        for byte in &mut damaged[begin..body.min(begin + burst)] {
            *byte ^= flip;
        }
        let wire = [&frames[0][..], &damaged, &frames[2]].concat();
        let said = decode(&mut Decoder::new(), &wire, &cuts);
        let good: Vec<_> = said.iter().filter(|s| s.is_ok()).cloned().collect();
        let wanted = texts(&messages);
        prop_assert_eq!(good, vec![wanted[0].clone(), wanted[2].clone()]);
        prop_assert!(said.len() > 2, "the damage was not noticed: {:?}", said);
    }

    #[test]
    fn a_lost_delimiter_costs_two_frames_and_no_more(messages in [owned(), owned(), owned(), owned()]) {
        let frames = messages.clone().map(|owned| owned.frame());
        let wire = [&frames[0][..], &frames[1][..frames[1].len() - 1], &frames[2], &frames[3]].concat();
        let said = decode(&mut Decoder::new(), &wire, &[64]);
        let good: Vec<_> = said.into_iter().filter(Result::is_ok).collect();
        let wanted = texts(&messages);
        prop_assert_eq!(good, vec![wanted[0].clone(), wanted[3].clone()]);
    }

    /// The tail of an over-long frame may itself be a sound frame's bytes: it is not taken for one.
    #[test]
    fn the_tail_of_an_overlong_frame_is_not_a_frame(
        length in SMALL..2 * SMALL,
        tail in owned(),
        next in owned(),
        cuts in prop::collection::vec(1..300usize, 1..6),
    ) {
        let mut wire = vec![0];
        wire.extend(std::iter::repeat_n(0x55u8, length));
        wire.extend(tail.frame());
        wire.extend(next.frame());
        let mut decoder = Decoder::<SMALL>::new();
        let mut wanted = vec![Err(Fault::Overlong)];
        wanted.extend(texts(&[next]));
        prop_assert_eq!(decode(&mut decoder, &wire, &cuts), wanted);
        prop_assert_eq!(decoder.counts().overlong, 1);
    }
}

#[test]
fn a_late_listener_counts_a_partial_frame_and_no_failure() {
    let frame = Owned::Samples(1, 5, vec![9; 50]).frame();
    let mut decoder = Decoder::<SMALL>::new();
    let wire = [&frame[20..], &frame[..]].concat();
    let said = decode(&mut decoder, &wire, &[7]);
    assert_eq!(said[0], Err(Fault::Partial));
    assert!(said[1].is_ok());
    assert_eq!(
        (
            decoder.counts().discards,
            decoder.counts().checksum_failures
        ),
        (1, 0)
    );
}

#[test]
fn senseless_fields_are_malformed() {
    let cases = [
        Owned::Identity(0, 1.0, Default::default()),
        Owned::Identity(33, 1.0, Default::default()),
        Owned::Identity(1, f64::NAN, Default::default()),
        Owned::Channel(0, 17, [1.0, 0.0, 0.0, 1.0], Default::default()),
        Owned::Channel(0, 12, [f64::INFINITY, 0.0, 0.0, 1.0], Default::default()),
        Owned::Samples(0, u64::MAX - 3, vec![0; 20]),
        Owned::Overrun(Overrun {
            stream: 0,
            first_index: u64::MAX,
            count: 1,
        }),
    ];
    for case in cases {
        let kind = case.message().kind();
        let mut decoder = Decoder::<SMALL>::new();
        let said = decode(&mut decoder, &case.frame(), &[1000]);
        assert_eq!(said, [Err(Fault::Malformed(kind))], "{case:?}");
        assert_eq!(decoder.counts().malformed, 1);
    }
}

#[test]
fn what_does_not_fit_is_not_written() {
    let mut encoder = Encoder::<64>::new();
    let mut out = [0; 128];
    let data = [1; 60];
    let samples = Message::Samples(Samples {
        stream: 0,
        first_index: 0,
        data: &data,
    });
    assert_eq!(encoder.encode(&samples, &mut out), Err(EncodeError::NoRoom));
    assert_eq!(
        encoder.encode(&Message::Start { tag: 1 }, &mut [0; 6]),
        Err(EncodeError::NoRoom)
    );
    assert_eq!(encoder.encode(&Message::Start { tag: 1 }, &mut out), Ok(8));
    let long = "x".repeat(256);
    let refusal = Message::Refusal(Refusal {
        request: 1,
        tag: 0,
        reason: Reason::Fault,
        text: &long,
    });
    assert_eq!(
        Encoder::<999>::new().encode(&refusal, &mut [0; 999]),
        Err(EncodeError::TextTooLong)
    );
    let uneven = [&[1i16, 2][..], &[1][..]];
    for planes in [&uneven[..], &[], &[&[][..]]] {
        let planes = planes.iter().copied();
        assert_eq!(
            encoder.encode_samples(0, 0, SampleFormat::I16, planes, &mut out),
            Err(EncodeError::UnevenPlanes)
        );
    }
}
