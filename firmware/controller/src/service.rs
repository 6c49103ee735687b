//! Bytes in, bytes out: sessions, request numbers, and everything that has to be worked out before
//! the core is asked to do something. On a board it runs in the main loop.
//!
//! Every request gets one answer, and an answer is never worked out twice: the last request's
//! reply is kept as the bytes it was sent in, and a repeated request gets the same bytes again.

use heapless::{Deque, String, Vec};
use panestep_protocol::{
    Accumulator, Answer, AxisIndex, AxisSettings, AxisTarget, BootId, Command, FromBoard, Halt,
    Hello, HomeOrder, HomingReport, Identity, MAGIC, MAX_AXES, MAX_FRAME, MAX_NAME, NudgeOrder,
    Refusal, Reply, Request, RequestId, SessionId, Status, ToBoard, VERSION, encode, schema,
};

use crate::controller::Setup;
use crate::core::Core;
use crate::hardware::Hardware;
use crate::homing::HomePlan;
use crate::log;
use crate::motion::{Leg, Limits, Path, PlanError, Profile, plan};

/// Bytes that wait for the host. A frame that finds no room is dropped whole: the host asks again.
const WAITING: usize = 4 * MAX_FRAME;

/// The way to the core. On a board this is a critical section: what happens inside is kept short.
pub trait Access {
    /// The core's hardware.
    type Hardware: Hardware;

    /// Does something with the core while no tick can come in between.
    fn with<R>(&mut self, work: impl FnOnce(&mut Core<Self::Hardware>) -> R) -> R;
}

impl<H: Hardware> Access for Core<H> {
    type Hardware = H;

    fn with<R>(&mut self, work: impl FnOnce(&mut Self) -> R) -> R {
        work(self)
    }
}

/// The last request carried out (or refused by what it asked for), and its reply's frame.
#[derive(Debug)]
struct Last {
    id: RequestId,
    frame: Vec<u8, MAX_FRAME>,
}

/// The part of a board that talks.
#[derive(Debug)]
pub struct Service {
    name: String<MAX_NAME>,
    axes: u8,
    tick_rate: u32,
    boot: BootId,
    schema: [u8; 8],
    session: SessionId,
    last: Option<Last>,
    accumulator: Accumulator<ToBoard>,
    damaged: u32,
    waiting: Deque<u8, WAITING>,
    /// What of the core's doings has been logged last.
    logged: (Option<Halt>, Option<HomingReport>),
}

impl Service {
    /// No session is open yet.
    #[must_use]
    pub fn new(setup: &Setup<'_>) -> Self {
        let mut name = String::new();
        for letter in setup.name.chars() {
            if name.push(letter).is_err() {
                break;
            }
        }
        Self {
            name,
            axes: setup.axes.min(MAX_AXES as u8),
            tick_rate: setup.tick_rate.max(1),
            boot: setup.boot,
            schema: schema(),
            session: SessionId(0),
            last: None,
            accumulator: Accumulator::default(),
            damaged: 0,
            waiting: Deque::new(),
            logged: (None, None),
        }
    }

    /// Takes any bytes at all from the host, and does what they ask for. Returns whether a sound
    /// message ended among them.
    pub fn receive(&mut self, access: &mut impl Access, bytes: &[u8]) -> bool {
        let mut sound = false;
        for &byte in bytes {
            let message = self.accumulator.push(byte);
            sound |= matches!(message, Some(Ok(_)));
            match message {
                None => {}
                Some(Err(error)) => {
                    log::warning!("frame dropped: {}", error);
                    self.damaged = self.damaged.wrapping_add(1);
                }
                Some(Ok(ToBoard::Hello(hello))) => self.hello(access, &hello),
                Some(Ok(ToBoard::Request(request))) => self.request(access, &request),
            }
        }
        sound
    }

    /// Works out what ticks have no time for: the next part of a homing. To be called whenever the
    /// main loop comes round; the axis stands still until then.
    pub fn work(&mut self, access: &mut impl Access) {
        let Some((steps, profile)) = access.with(|core| core.wanted()) else {
            return;
        };
        // Not reached otherwise: each way is one that its profile was planned for. The homing would
        // find nothing.
        let path = begun(&steps, profile).unwrap_or_else(|_| Path::idle());
        access.with(|core| core.set_out(&path));
    }

    /// Hands over bytes for the host; how many have been put into the buffer.
    pub fn transmit(&mut self, buffer: &mut [u8]) -> usize {
        let mut count: usize = 0;
        for place in buffer {
            let Some(byte) = self.waiting.pop_front() else {
                break;
            };
            *place = byte;
            count = count.saturating_add(1);
        }
        count
    }

    /// Whether bytes wait for the host.
    #[must_use]
    pub fn is_waiting(&self) -> bool {
        !self.waiting.is_empty()
    }

    fn hello(&mut self, access: &mut impl Access, hello: &Hello) {
        if hello.magic != MAGIC {
            return;
        }
        let identity = Identity {
            magic: MAGIC,
            version: VERSION,
            schema: self.schema,
            nonce: hello.nonce,
            name: self.name.clone(),
            axes: self.axes,
            tick_rate: self.tick_rate,
            boot: self.boot,
            session: self.session,
            mark: access.with(Core::mark),
        };
        let mut buffer = [0; MAX_FRAME];
        if let Ok(frame) = encode(&FromBoard::Identity(identity), &mut buffer) {
            self.send(frame);
        }
    }

    fn request(&mut self, access: &mut impl Access, request: &Request) {
        match self.admit(request) {
            Err(refusal) => {
                log::warning!("request {} turned away: {}", request.id, refusal);
                let frame = self.reply(access, request, Err(refusal));
                self.send(&frame);
            }
            Ok(repeated) => {
                access.with(Core::heard);
                if !repeated {
                    let result = self.carry_out(access, request);
                    if let Err(refusal) = &result {
                        log::info!("request {} refused: {}", request.id, refusal);
                    }
                    let frame = self.reply(access, request, result);
                    self.last = Some(Last {
                        id: request.id,
                        frame,
                    });
                }
                if let Some(last) = self.last.take() {
                    self.send(&last.frame);
                    self.last = Some(last);
                }
            }
        }
    }

    /// Whether the request is this session's next one, or its last one once more. One that opens a
    /// session does so here.
    fn admit(&mut self, request: &Request) -> Result<bool, Refusal> {
        if request.boot != self.boot {
            return Err(Refusal::OtherBoot(self.boot));
        }
        if let Command::Open { schema } = &request.command
            && request.session > self.session
        {
            if *schema != self.schema {
                return Err(Refusal::OtherSchema);
            }
            log::info!("session {} opened", request.session);
            self.session = request.session;
            self.last = None;
            return Ok(false);
        }
        if request.session != self.session || self.session == SessionId(0) {
            return Err(Refusal::OtherSession(self.session));
        }
        match &self.last {
            Some(last) if request.id == last.id => Ok(true),
            Some(last) if request.id < last.id => Err(Refusal::Stale(last.id)),
            _ => Ok(false),
        }
    }

    fn carry_out(
        &mut self,
        access: &mut impl Access,
        request: &Request,
    ) -> Result<Answer, Refusal> {
        let done = |()| Answer::Done;
        let under = |way| Answer::Under { way };
        match &request.command {
            // A session that has just been opened has no last request yet.
            Command::Open { .. } if self.last.is_none() => Ok(Answer::Done),
            Command::Open { .. } => Err(Refusal::OtherSession(self.session)),
            Command::Status => {
                let damaged = self.damaged;
                // In two goes, each of which holds ticks off for only so long. The positions come second:
                // where nothing moves any more by the first, they are the last ones.
                let mut status = access.with(|core| core.state(damaged));
                let positions = access.with(|core| core.positions());
                for position in positions.into_iter().take(usize::from(self.axes)) {
                    // There are no more axes than places.
                    let _ = status.positions.push(position);
                }
                self.log_news(&status);
                Ok(Answer::Status(status))
            }
            Command::Configure(settings) => access.with(|core| core.configure(*settings)).map(done),
            Command::Guard(settings) => access.with(|core| core.guards(*settings)).map(done),
            Command::Drivers { on } => access.with(|core| core.switch_drivers(*on)).map(done),
            Command::Home(order) => self.home(access, order, request.id, false).map(done),
            Command::Move { targets } => self.travel(access, targets).map(under),
            Command::Nudge(order) => self.nudge(access, order).map(under),
            Command::Halt => {
                access.with(Core::ask_halt);
                Ok(Answer::Done)
            }
            Command::Acknowledge => access.with(Core::acknowledge).map(done),
            Command::OpenShot { shot, spent } => {
                access.with(|core| core.open_shot(*shot, *spent)).map(done)
            }
            Command::Fire(order) => access.with(|core| core.fire(order)).map(under),
            Command::Fence { shot, token } => Ok(Answer::Exposure(
                access.with(|core| core.fence(*shot, *token)),
            )),
            Command::Lamps { on } => {
                access.with(|core| core.lamps(*on));
                Ok(Answer::Done)
            }
            Command::Check(order) => self.home(access, order, request.id, true).map(done),
        }
    }

    /// Logs what ticks have brought about since the last status: they have no time for it.
    fn log_news(&mut self, status: &Status) {
        let (halt, homing) = (status.halt, status.homing);
        if let Some(halt) = halt.filter(|_| halt != self.logged.0) {
            log::warning!("halt: {}", halt);
        }
        if let Some(homing) = homing.filter(|_| homing != self.logged.1) {
            log::info!("homing: {}", homing);
        }
        self.logged = (halt, homing);
    }

    fn travel(
        &self,
        access: &mut impl Access,
        targets: &[AxisTarget],
    ) -> Result<panestep_protocol::Ticks, Refusal> {
        // What can be refused is refused before anything is worked out.
        let steps = access.with(|core| core.may_move(targets))?;
        let mut legs: Vec<Leg, MAX_AXES> = Vec::new();
        for target in targets {
            let settings = access.with(|core| core.settings(target.axis))?;
            let leg = Leg {
                distance: target.to.0.abs_diff(target.from.0),
                limits: limits(&settings),
            };
            legs.push(leg).map_err(|_| Refusal::BadValue(target.axis))?;
        }
        let first = targets.first().map_or(AxisIndex(0), |target| target.axis);
        let profile = plan(&legs, self.tick_rate).map_err(|error| refusal(first, error))?;
        let path = begun(&steps, profile)?;
        access.with(|core| core.begin_move(targets, &path))
    }

    fn nudge(
        &self,
        access: &mut impl Access,
        order: &NudgeOrder,
    ) -> Result<panestep_protocol::Ticks, Refusal> {
        let steps = access.with(|core| core.may_nudge(order))?;
        let settings = access.with(|core| core.settings(order.axis))?;
        let profile = self.steady(order.axis, order.by.0.unsigned_abs(), settings.slow)?;
        let path = begun(&steps, profile)?;
        access.with(|core| core.begin_nudge(order, &path))
    }

    /// Begins a homing, or a check that is to `keep` the count.
    fn home(
        &self,
        access: &mut impl Access,
        order: &HomeOrder,
        request: RequestId,
        keep: bool,
    ) -> Result<(), Refusal> {
        let axis = order.axis;
        let settings = access.with(|core| core.settings(axis))?;
        access.with(|core| core.may_home(axis, keep))?;
        let approach = HomePlan::approach(order);
        // The farthest count that the axis can get to, and the longest part.
        let origin = if keep {
            let at = access.with(|core| core.position(axis))?;
            i64::from(at.0.unsigned_abs()).saturating_add(i64::from(order.search))
        } else {
            i64::from(order.edge.0.unsigned_abs())
        };
        let reach = origin
            .saturating_add(i64::from(approach))
            .saturating_add(i64::from(order.clear));
        if order.fast == 0
            || order.fast > settings.speed
            || order.slow == 0
            || order.slow > settings.slow
            || order.search == 0
            || order.back_off == 0
            || i32::try_from(order.search).is_err()
            || i32::try_from(reach).is_err()
        {
            return Err(Refusal::BadValue(axis));
        }
        let leg = Leg {
            distance: order.search,
            limits: Limits {
                speed: order.fast,
                ..limits(&settings)
            },
        };
        let plan = HomePlan {
            order: *order,
            request,
            keep,
            fast: plan(&[leg], self.tick_rate).map_err(|error| refusal(axis, error))?,
            off: self.steady(axis, order.back_off, order.slow)?,
            on: self.steady(axis, approach, order.slow)?,
            clear: self.steady(axis, order.clear, order.slow)?,
        };
        access.with(|core| core.begin_homing(plan))
    }

    fn steady(&self, axis: AxisIndex, distance: u32, speed: u32) -> Result<Profile, Refusal> {
        Profile::steady(distance, speed, self.tick_rate).map_err(|error| refusal(axis, error))
    }

    fn reply(
        &self,
        access: &mut impl Access,
        request: &Request,
        result: Result<Answer, Refusal>,
    ) -> Vec<u8, MAX_FRAME> {
        let reply = Reply {
            boot: self.boot,
            session: request.session,
            id: request.id,
            at: access.with(|core| core.now()),
            result,
        };
        let mut buffer = [0; MAX_FRAME];
        // Every message fits a frame.
        encode(&FromBoard::Reply(reply), &mut buffer)
            .ok()
            .and_then(|frame| Vec::from_slice(frame).ok())
            .unwrap_or_default()
    }

    /// Puts a whole frame into the queue, or drops it.
    fn send(&mut self, frame: &[u8]) {
        let free = WAITING.saturating_sub(self.waiting.len());
        if frame.len() > free {
            return;
        }
        for &byte in frame {
            // There is room: it has just been counted.
            let _ = self.waiting.push_back(byte);
        }
    }
}

/// The path of these steps. It divides, once for each axis, so it is begun here and handed over.
fn begun(steps: &[i32; MAX_AXES], profile: Profile) -> Result<Path, Refusal> {
    let mut path = Path::idle();
    if path.begin(steps, profile) {
        Ok(path)
    } else {
        // Not reached: the profile was planned for these steps.
        Err(Refusal::TooLong)
    }
}

const fn limits(settings: &AxisSettings) -> Limits {
    Limits {
        speed: settings.speed,
        acceleration: settings.acceleration,
        jerk: settings.jerk,
    }
}

const fn refusal(axis: AxisIndex, error: PlanError) -> Refusal {
    match error {
        PlanError::ZeroLimit => Refusal::BadValue(axis),
        PlanError::TooFast => Refusal::TooFast(axis),
        PlanError::TooLong => Refusal::TooLong,
    }
}
