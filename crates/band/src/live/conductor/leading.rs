//! Bars drawn anew, put in place while play goes on: the bar before a jump, so that it leads there, and the
//! answers of a trader.

use std::sync::Arc;

use super::{Conductor, State};
use crate::live::clock::Nanos;
use crate::live::passage_supply::{Bend, PassageKind, PassageRequest, PassageSupply};
use crate::live::redraw::{Amendment, leads_by_itself};
use crate::live::trade::trader::TradeAct;

impl<S: PassageSupply> Conductor<S> {
    /// Where play goes on at the end of the bar that is next, unless the line leads there by itself: the bar, the
    /// passage that comes, and the bar of it that is entered.
    fn goes_elsewhere(&self) -> Option<Bend> {
        let passage = &self.leg.passage;
        let beat = self.leg.beat.min(passage.beats.len().checked_sub(1)?);
        let bar = passage.beats[beat].bar;
        let ends = passage.bars.get(bar + 1).map(|next| next.section);
        let section = passage.bars[bar].section;
        let bend = |to: PassageRequest, entry_bar| Bend {
            from: self.leg.request,
            bar,
            keep: self.leg.beat - passage.bars[bar].first_beat,
            to,
            entry_bar,
        };
        let ahead = |kind| self.ahead.as_ref().filter(|(made, _)| made.kind == kind);
        let is_chorus = self.leg.request.kind == PassageKind::Chorus;
        if let Some(looped) = self.looped
            && is_chorus
            && section == looped
            && ends.is_some_and(|next| next != section)
        {
            let (to, _) = ahead(PassageKind::Section(looped))?;
            return Some(bend(*to, 0));
        }
        if let (Some(target), true, None) = (self.jump, is_chorus, self.looped) {
            return match passage.sections.get(target) {
                Some(section) => Some(bend(self.leg.request, section.first_bar)),
                None => ahead(PassageKind::Chorus).map(|(to, _)| bend(*to, 0)),
            };
        }
        // At the end of the passage; its last bar can be drawn anew as soon as what comes is known.
        let (to, next) = ahead(self.next_kind()?)?;
        if leads_by_itself(&self.leg.request, to) || to.kind == PassageKind::Ending {
            return None;
        }
        let entry = self.entry_of(to.kind);
        let entry_bar = next
            .sections
            .get(entry)
            .map_or(0, |section| section.first_bar);
        let last = passage.bars.len() - 1;
        let keep = match bar == last {
            true => self.leg.beat - passage.bars[last].first_beat,
            false => 0,
        };
        Some(Bend {
            bar: last,
            keep,
            ..bend(*to, entry_bar)
        })
    }

    /// Sees to it that the bar before a jump leads where it goes.
    pub(super) fn lead_on(&mut self) {
        while let Some((bend, made)) = self.supply.poll_bend() {
            let Some((asked, answered)) = &mut self.bend else {
                continue;
            };
            if *asked != bend {
                continue;
            }
            *answered = true;
            if let Ok(amendment) = made {
                let first = self.leg.passage.bars[bend.bar].first_beat + bend.keep;
                // Later than its beats were queued it is of no use.
                if self.leg.request == bend.from && self.leg.beat <= first {
                    self.amend(&amendment);
                } else {
                    self.bend = None;
                }
            }
        }
        if self.state != State::Rolling {
            return;
        }
        let Some(wanted) = self.goes_elsewhere() else {
            return;
        };
        let beats = &self.leg.passage.beats;
        let bar_has = beats.iter().filter(|beat| beat.bar == wanted.bar).count();
        let asked = self.bend.is_some_and(|(asked, answered)| {
            let same_place = (asked.to, asked.entry_bar) == (wanted.to, wanted.entry_bar);
            // The bar before has been drawn anew for this, and the jump is made at its end.
            let led = answered && same_place && asked.bar + 1 == wanted.bar && wanted.keep == 0;
            led || asked.is_like(&wanted)
        });
        if wanted.keep < bar_has && !asked {
            self.bend = Some((wanted, false));
            self.supply.ask_bend(wanted);
        }
    }

    /// Whether a jump asked for has to wait for the next bar line, since the beats that would have led to it were
    /// queued already. Once only: whoever asks wants to get there.
    pub(super) fn is_bent_too_late(&mut self) -> bool {
        let bar = self.leg.passage.beats[self.leg.near_beat()].bar;
        let led = self
            .bend
            .is_some_and(|(bend, answered)| answered && bend.bar + 1 == bar);
        !led && !std::mem::replace(&mut self.postponed, true)
    }

    /// Whether all of the present passage is queued, with a line that leads to the one ahead: what is asked for now
    /// comes after that.
    pub(super) fn is_led_to_ahead(&self) -> bool {
        let at_end = self.leg.beat == self.leg.passage.beats.len();
        let ahead = self.ahead.as_ref().map(|(made, _)| made.kind);
        at_end && ahead.is_some() && ahead == self.next_kind()
    }

    /// Does what a trader asks.
    pub fn trade(&mut self, act: TradeAct) {
        match act {
            TradeAct::Hold(beat, until) => self.hold = Some((beat, until)),
            TradeAct::Release => self.hold = None,
            TradeAct::Amend(amendment) => self.amend(&amendment),
            TradeAct::Gain(gain) => self.writer.gain = gain,
            TradeAct::Bend(factor) => self.bent = factor,
            TradeAct::Say(words) => self.status.look().settings.notice = Some(words),
        }
    }

    /// Takes note of the time: what is held does not wait for ever.
    pub fn tick(&mut self, now: Nanos) {
        self.hold.take_if(|(_, until)| *until <= now);
    }

    /// Puts bars drawn anew in the place of those that play, or will.
    pub fn amend(&mut self, amendment: &Amendment) {
        if self.leg.request == amendment.request {
            amendment.apply(Arc::make_mut(&mut self.leg.passage));
        } else if let Some((request, passage)) = &mut self.ahead
            && *request == amendment.request
        {
            amendment.apply(Arc::make_mut(passage));
        }
    }
}
