//! The pipeline with the stream it works on: the one place where what the device says of its
//! channels becomes what the analysis asks of its inputs.

use super::orders::{Placed, Request};
use crate::fault::Fault;
use crate::screen::live::{TraceView, TraceWish};
use crate::setup::Setup;
use keyway_acquisition::block::{SampleBlock, StreamInfo};
use keyway_analysis::base_timing::CamAtRest;
use keyway_analysis::calibration::Input;
use keyway_analysis::pipeline::Pipeline;
use keyway_analysis::series::{EngineCycle, Series};
use keyway_analysis::snapshot::{Snapshot, Traces};
use keyway_analysis::units::{CrankAngle, CrankDegrees, Hertz, SampleTime};
use std::sync::Arc;

/// An analysis that follows from stream to stream.
#[derive(Debug)]
pub struct Analyser {
    setup: Setup,
    running: Option<(u64, Pipeline)>,
    /// The stored codes, which hold from stream to stream.
    codes: Vec<String>,
    /// Index after the last sample taken.
    taken: u64,
}

impl Analyser {
    /// Sheet and plan.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// An analysis before its first stream.
    pub fn new(setup: Setup) -> Self {
        Self {
            setup,
            running: None,
            codes: Vec::new(),
            taken: 0,
        }
    }

    /// Begins afresh on a stream.
    pub fn begin(&mut self, stream: &StreamInfo) -> Result<(), Fault> {
        self.running = None;
        self.taken = 0;
        let mut pipeline = Pipeline::new(
            &self.setup.sheet,
            &self.setup.plan,
            &inputs(stream),
            Hertz(stream.rate_hz),
        )
        .map_err(|e| Fault::Setup(Arc::from(e.to_string())))?;
        pipeline.set_codes(&self.codes);
        self.running = Some((stream.generation, pipeline));
        Ok(())
    }

    /// Takes a block; one of another stream is passed over.
    pub fn push(&mut self, block: &SampleBlock) {
        self.push_part(block, block.first_index, block.end_index());
    }

    /// Takes the samples of a block from one index up to another, both within it.
    pub fn push_part(&mut self, block: &SampleBlock, from: u64, to: u64) {
        if let Some((generation, pipeline)) = &mut self.running
            && *generation == block.generation
        {
            let offset = |index: u64| usize::try_from(index - block.first_index).unwrap_or(0);
            let part = offset(from)..offset(to);
            let channels: Vec<&[i16]> = (block.channels.iter())
                .map(|c| c.get(part.clone()).unwrap_or_default())
                .collect();
            pipeline.push(from, &channels);
            self.taken = to;
        }
    }

    /// Does what the technician asks, at the present end of the samples.
    pub fn obey(&mut self, request: &Request) {
        if let Request::Codes(codes) = request {
            self.codes.clone_from(codes);
        }
        let Some((_, pipeline)) = &mut self.running else {
            return;
        };
        match request {
            Request::AskTouch(role) => pipeline.ask_touch(*role),
            Request::EndTouch => pipeline.end_touch(),
            Request::StartTrial(order) => pipeline.start_trial(*order),
            Request::StopTrial => pipeline.stop_trial(),
            Request::Codes(codes) => pipeline.set_codes(codes),
        }
    }

    /// A request done now, with its place; none before the first stream.
    pub fn place(&self, request: Request) -> Option<Placed> {
        let (generation, _) = self.running.as_ref()?;
        Some(Placed {
            generation: *generation,
            index: self.taken,
            request,
        })
    }

    /// Keeps every measured value of the present stream from now on, for [`Self::drain_series`].
    pub fn collect_series(&mut self) {
        if let Some((_, pipeline)) = &mut self.running {
            pipeline.collect_series();
        }
    }

    /// The values measured since the last call.
    pub fn drain_series(&mut self) -> Series {
        self.running
            .as_mut()
            .map(|(_, pipeline)| pipeline.drain_series())
            .unwrap_or_default()
    }

    /// Keeps every complete engine cycle of the present stream from now on, cut into so many parts, for
    /// [`Self::drain_cycles`].
    pub fn collect_cycles(&mut self, parts: u16) {
        if let Some((_, pipeline)) = &mut self.running {
            pipeline.collect_cycles(parts);
        }
    }

    /// The cycles completed since the last call.
    pub fn drain_cycles(&mut self) -> Vec<EngineCycle> {
        self.running
            .as_mut()
            .map(|(_, pipeline)| pipeline.drain_cycles())
            .unwrap_or_default()
    }

    /// Position in the engine cycle at a recent instant; none when not known.
    pub fn angle_at(&self, at: SampleTime) -> Option<CrankAngle> {
        self.running.as_ref()?.1.angle_at(at)
    }

    /// Angle of the crank at a recent instant, which goes on counting over the revolutions for as
    /// long as the pattern is followed; none when not known.
    pub fn crank_angle_at(&self, at: SampleTime) -> Option<CrankDegrees> {
        self.running.as_ref()?.1.crank_angle_at(at)
    }

    /// The angles of the single cam edges while the cams rested; none before the first stream.
    pub fn at_rest(&self) -> Option<Vec<CamAtRest>> {
        self.running.as_ref().map(|(_, p)| p.at_rest())
    }

    /// The state of everything; none before the first stream.
    pub fn snapshot(&self) -> Option<Snapshot> {
        self.running.as_ref().map(|(_, p)| p.snapshot())
    }

    /// The traces that are wished for; none if there are none.
    pub fn traces(&self, wish: TraceWish) -> Option<Traces> {
        let (_, pipeline) = self.running.as_ref()?;
        match wish.view {
            TraceView::Time(span) => Some(pipeline.traces(span, wish.columns)),
            TraceView::CrankLocked => pipeline.crank_locked(wish.columns),
        }
    }
}

/// One input per channel that blocks carry, in their order.
pub(crate) fn inputs(stream: &StreamInfo) -> Vec<Input> {
    stream
        .enabled
        .iter()
        .filter_map(|&number| {
            let channel = stream.device.channels.get(number)?;
            Some(Input {
                number: number + 1,
                scale: channel.scale,
                offset: channel.offset,
                low: channel.low,
                high: channel.high,
                unit: channel.unit.clone(),
            })
        })
        .collect()
}
