//! The list of recordings: those of the open job, those without a job, and the other jobs, each of
//! which unfolds.

use super::{FILE_LIST, Message, Recordings};
use crate::font;
use crate::job::folder::JobFolder;
use crate::session::shelf::{JobShelf, Shelf, Volume};
use crate::theme::{Look, RADIUS, STEP, TARGET};
use crate::widget::button as key;
use iced::widget::{Column, button, column, container, row, scrollable, text};
use iced::{Alignment, Element, Length, border};

/// Jobs that are listed here at most; the Job screen finds the others. More would make the picture slow.
const JOBS: usize = 40;

/// One line of the list.
#[derive(Debug, Clone, Copy)]
pub enum Line<'a> {
    /// A heading over files.
    Heading(&'a str),
    /// A recording.
    File(&'a Volume),
    /// A job that is not open, and whether its recordings are shown.
    Job(&'a JobShelf, bool),
    /// A group that holds nothing.
    Nothing(&'static str),
    /// So many more jobs are not listed here.
    More(usize),
}

impl Recordings {
    /// The lines, from the top.
    pub(super) fn lines(&self) -> Vec<Line<'_>> {
        let Some(Ok(shelf)) = &self.shelf else {
            return Vec::new();
        };
        let mut lines = Vec::new();
        let open = self.job.as_ref();
        if let Some((folder, name)) = open {
            lines.push(Line::Heading(name));
            files(shelf, Some(folder), &mut lines);
        }
        // Without jobs there is nothing to tell apart.
        if open.is_some() || !shelf.jobs.is_empty() {
            lines.push(Line::Heading("Without a job"));
        }
        files(shelf, None, &mut lines);
        let others = (shelf.jobs.iter()).filter(|j| open.is_none_or(|(f, _)| *f != j.folder));
        if others.clone().next().is_some() {
            lines.push(Line::Heading(if open.is_some() {
                "Other jobs"
            } else {
                "Jobs"
            }));
        }
        for job in others.clone().take(JOBS) {
            let is_unfolded = self.unfolded.contains(&job.folder);
            lines.push(Line::Job(job, is_unfolded));
            if is_unfolded {
                files(shelf, Some(&job.folder), &mut lines);
            }
        }
        let count = others.count();
        if count > JOBS {
            lines.push(Line::More(count - JOBS));
        }
        lines
    }

    /// The list as a widget.
    pub(super) fn list(&self, look: Look) -> Element<'_, Message> {
        let p = look.palette();
        let quiet = |words: String| {
            container(text(words).size(font::SMALL).color(p.quiet)).padding([0.0, STEP * 2.0])
        };
        let mut list = Column::new().spacing(STEP);
        let mut stop = 0;
        for line in self.lines() {
            let is_on = self.cursor == Some(stop);
            let element: Element<'_, Message> = match line {
                Line::Heading(words) => {
                    container(text(words).size(font::BODY).font(font::BOLD).color(p.text))
                        .padding([4.0, STEP * 2.0])
                        .into()
                }
                Line::File(volume) => {
                    stop += 1;
                    self.card(volume, is_on, look)
                }
                Line::Job(job, is_unfolded) => {
                    stop += 1;
                    job_line(job, is_unfolded, is_on, look)
                }
                Line::Nothing(words) => quiet(words.to_owned()).into(),
                Line::More(count) => quiet(format!(
                    "{count} more jobs: open one on the Job screen to see its recordings"
                ))
                .into(),
            };
            list = list.push(element);
        }
        scrollable(list)
            .id(FILE_LIST)
            .spacing(STEP)
            .height(Length::Fill)
            .into()
    }
}

fn files<'a>(shelf: &'a Shelf, job: Option<&JobFolder>, lines: &mut Vec<Line<'a>>) {
    let before = lines.len();
    let files = shelf.volumes.iter().filter(|v| v.job.as_ref() == job);
    lines.extend(files.map(Line::File));
    if lines.len() == before && (job.is_some() || !shelf.jobs.is_empty()) {
        lines.push(Line::Nothing(if job.is_some() {
            "No recordings in this job yet"
        } else {
            "None"
        }));
    }
}

fn job_line<'a>(
    job: &'a JobShelf,
    is_unfolded: bool,
    is_on: bool,
    look: Look,
) -> Element<'a, Message> {
    let p = look.palette();
    let count = match job.recordings {
        Some(1) => "1 recording".to_owned(),
        Some(n) => format!("{n} recordings"),
        None => "not readable".to_owned(),
    };
    let words = row![
        column![
            text(&job.name)
                .size(font::BODY)
                .font(font::BOLD)
                .color(p.text),
            text(&job.about).size(font::SMALL).color(p.quiet),
        ]
        .spacing(2)
        .width(Length::Fill),
        text(count).size(font::BODY).color(p.text),
        text(if is_unfolded { "Hide" } else { "Show" })
            .size(font::BODY)
            .color(p.quiet)
            .width(48),
    ]
    .spacing(STEP * 2.0)
    .align_y(Alignment::Center)
    .height(Length::Fill);
    button(words)
        .width(Length::Fill)
        .height(TARGET + STEP)
        .padding([0.0, STEP * 2.0])
        .style(move |_, status| {
            let mut style = key::style(look, false, status);
            style.border = border::rounded(RADIUS)
                .color(if is_on { p.text } else { p.hairline })
                .width(1);
            style
        })
        .on_press(Message::Unfold(job.folder.clone()))
        .into()
}
