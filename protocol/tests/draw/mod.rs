//! Draws messages of every kind, with any numbers in them.

use heapless::{String as Text, Vec as Few};
use panestep_protocol::{
    Activity, Answer, AxisIndex, AxisMask, AxisSettings, AxisTarget, BootId, Command, ExposureFact,
    FireOrder, FromBoard, GuardSettings, Halt, Hello, HomeFound, HomeOrder, HomingFault,
    HomingReport, Identity, MAX_AXES, MAX_NAME, Mark, NudgeOrder, Refusal, Reply, Request,
    RequestId, SessionId, ShotId, Status, Steps, Switches, Ticks, ToBoard, Token, Toward,
};
use proptest::option;
use proptest::prelude::*;

/// A number of any length on the wire: half of them small, some at the very end.
fn number() -> impl Strategy<Value = u32> {
    prop_oneof![
        4 => 0..200_u32,
        3 => any::<u32>(),
        1 => Just(u32::MAX),
    ]
}

fn long() -> impl Strategy<Value = u64> {
    prop_oneof![3 => any::<u64>(), 1 => Just(0), 1 => Just(u64::MAX)]
}

fn steps() -> impl Strategy<Value = Steps> {
    prop_oneof![
        4 => -100..100_i32,
        3 => any::<i32>(),
        1 => Just(i32::MIN),
        1 => Just(i32::MAX),
    ]
    .prop_map(Steps)
}

fn ticks() -> impl Strategy<Value = Ticks> {
    number().prop_map(Ticks)
}

fn axis() -> impl Strategy<Value = AxisIndex> {
    any::<u8>().prop_map(AxisIndex)
}

fn axes() -> impl Strategy<Value = AxisMask> {
    any::<u8>().prop_map(AxisMask)
}

fn shot() -> impl Strategy<Value = ShotId> {
    long().prop_map(ShotId)
}

fn token() -> impl Strategy<Value = Token> {
    (number(), any::<u16>()).prop_map(|(slot, attempt)| Token { slot, attempt })
}

fn toward() -> impl Strategy<Value = Toward> {
    prop_oneof![Just(Toward::Negative), Just(Toward::Positive)]
}

/// As many as fit, or fewer.
fn few<T: core::fmt::Debug>(
    one: impl Strategy<Value = T>,
) -> impl Strategy<Value = Few<T, MAX_AXES>> {
    prop::collection::vec(one, 0..=MAX_AXES).prop_map(|drawn| drawn.into_iter().collect())
}

fn name() -> impl Strategy<Value = Text<MAX_NAME>> {
    // Any characters at all, as many as fit.
    prop::collection::vec(any::<char>(), 0..=MAX_NAME).prop_map(|drawn| {
        let mut name = Text::new();
        for character in drawn {
            // One that no longer fits is left out.
            let _ = name.push(character);
        }
        name
    })
}

/// A host's message.
pub(crate) fn to_board() -> impl Strategy<Value = ToBoard> {
    let hello = (any::<[u8; 4]>(), any::<u16>(), any::<[u8; 8]>(), number()).prop_map(
        |(magic, version, schema, nonce)| {
            ToBoard::Hello(Hello {
                magic,
                version,
                schema,
                nonce,
            })
        },
    );
    let request =
        (long(), number(), number(), command()).prop_map(|(boot, session, id, command)| {
            ToBoard::Request(Request {
                boot: BootId(boot),
                session: SessionId(session),
                id: RequestId(id),
                command,
            })
        });
    prop_oneof![1 => hello, 14 => request]
}

fn home() -> impl Strategy<Value = HomeOrder> {
    (
        (axis(), number(), number(), number()),
        (number(), number(), steps()),
    )
        .prop_map(
            |((axis, fast, slow, search), (back_off, clear, edge))| HomeOrder {
                axis,
                fast,
                slow,
                search,
                back_off,
                clear,
                edge,
            },
        )
}

fn command() -> impl Strategy<Value = Command> {
    let configure = (
        (axis(), number(), number(), number(), number()),
        (any::<bool>(), steps(), steps(), toward()),
    )
        .prop_map(
            |((axis, speed, acceleration, jerk, slow), (reversed, least, greatest, home))| {
                Command::Configure(AxisSettings {
                    axis,
                    speed,
                    acceleration,
                    jerk,
                    slow,
                    reversed,
                    least,
                    greatest,
                    home,
                })
            },
        );
    let target =
        (axis(), steps(), steps()).prop_map(|(axis, from, to)| AxisTarget { axis, from, to });
    let fire = (shot(), token(), ticks(), ticks(), ticks()).prop_map(
        |(shot, token, half_press, press, window)| {
            Command::Fire(FireOrder {
                shot,
                token,
                half_press,
                press,
                window,
            })
        },
    );
    prop_oneof![
        any::<[u8; 8]>().prop_map(|schema| Command::Open { schema }),
        Just(Command::Status),
        configure,
        (ticks(), ticks())
            .prop_map(|(silence, settle)| Command::Guard(GuardSettings { silence, settle })),
        any::<bool>().prop_map(|on| Command::Drivers { on }),
        home().prop_map(Command::Home),
        few(target).prop_map(|targets| Command::Move { targets }),
        (axis(), steps(), steps()).prop_map(|(axis, from, by)| Command::Nudge(NudgeOrder {
            axis,
            from,
            by
        })),
        Just(Command::Halt),
        Just(Command::Acknowledge),
        (shot(), token()).prop_map(|(shot, spent)| Command::OpenShot { shot, spent }),
        fire,
        (shot(), token()).prop_map(|(shot, token)| Command::Fence { shot, token }),
        any::<u8>().prop_map(|on| Command::Lamps { on }),
        home().prop_map(Command::Check),
    ]
}

/// A board's message.
pub(crate) fn from_board() -> impl Strategy<Value = FromBoard> {
    let mark = (shot(), token()).prop_map(|(shot, token)| Mark { shot, token });
    let identity = (
        (any::<[u8; 4]>(), any::<u16>(), any::<[u8; 8]>(), number()),
        (name(), any::<u8>(), number()),
        (long(), number(), option::of(mark)),
    )
        .prop_map(
            |((magic, version, schema, nonce), (name, axes, tick_rate), (boot, session, mark))| {
                FromBoard::Identity(Identity {
                    magic,
                    version,
                    schema,
                    nonce,
                    name,
                    axes,
                    tick_rate,
                    boot: BootId(boot),
                    session: SessionId(session),
                    mark,
                })
            },
        );
    let result = prop_oneof![answer().prop_map(Ok), refusal().prop_map(Err)];
    let reply = (long(), number(), number(), ticks(), result).prop_map(
        |(boot, session, id, at, result)| {
            FromBoard::Reply(Reply {
                boot: BootId(boot),
                session: SessionId(session),
                id: RequestId(id),
                at,
                result,
            })
        },
    );
    prop_oneof![1 => identity, 6 => reply]
}

fn answer() -> impl Strategy<Value = Answer> {
    prop_oneof![
        1 => Just(Answer::Done),
        1 => ticks().prop_map(|way| Answer::Under { way }),
        4 => status().prop_map(Answer::Status),
        1 => fact().prop_map(Answer::Exposure),
    ]
}

fn status() -> impl Strategy<Value = Status> {
    let switches =
        (axes(), axes(), any::<bool>(), any::<bool>()).prop_map(|(home, far, stop, contact)| {
            Switches {
                home,
                far,
                stop,
                contact,
            }
        });
    (
        (activity(), few(steps()), axes(), axes(), any::<bool>()),
        (switches, option::of(halt()), option::of(homing())),
        (ticks(), option::of((token(), fact())), number(), number()),
    )
        .prop_map(
            |(
                (activity, positions, configured, homed, drivers),
                (switches, halt, homing),
                (still, exposure, contacts, damaged),
            )| Status {
                activity,
                positions,
                configured,
                homed,
                drivers,
                switches,
                halt,
                homing,
                still,
                exposure,
                contacts,
                damaged,
            },
        )
}

fn activity() -> impl Strategy<Value = Activity> {
    prop_oneof![
        Just(Activity::Idle),
        Just(Activity::Moving),
        axis().prop_map(Activity::Homing),
        Just(Activity::Stopping),
        Just(Activity::Exposing),
    ]
}

fn halt() -> impl Strategy<Value = Halt> {
    prop_oneof![
        Just(Halt::Stop),
        (axis(), toward()).prop_map(|(axis, toward)| Halt::Limit { axis, toward }),
        Just(Halt::Silence),
        Just(Halt::Asked),
    ]
}

fn homing() -> impl Strategy<Value = HomingReport> {
    let result = prop_oneof![
        (steps(), steps()).prop_map(|(was, opened)| Ok(HomeFound { was, opened })),
        Just(Err(HomingFault::NotFound)),
        Just(Err(HomingFault::NeverOpens)),
        Just(Err(HomingFault::OtherEnd)),
        Just(Err(HomingFault::Interrupted)),
    ];
    (number(), axis(), result).prop_map(|(request, axis, result)| HomingReport {
        request: RequestId(request),
        axis,
        result,
    })
}

fn fact() -> impl Strategy<Value = ExposureFact> {
    prop_oneof![
        Just(ExposureFact::Running),
        any::<u8>().prop_map(|contacts| ExposureFact::Fired { contacts }),
        Just(ExposureFact::Never),
        Just(ExposureFact::Unknown),
    ]
}

fn refusal() -> impl Strategy<Value = Refusal> {
    let about_the_request = prop_oneof![
        long().prop_map(|boot| Refusal::OtherBoot(BootId(boot))),
        number().prop_map(|session| Refusal::OtherSession(SessionId(session))),
        number().prop_map(|id| Refusal::Stale(RequestId(id))),
        Just(Refusal::OtherSchema),
        Just(Refusal::NoShot),
        token().prop_map(Refusal::Spent),
    ];
    let about_an_axis = prop_oneof![
        axis().prop_map(Refusal::NoAxis),
        axis().prop_map(Refusal::NotConfigured),
        axis().prop_map(Refusal::BadValue),
        axis().prop_map(Refusal::TooFast),
        axis().prop_map(Refusal::OutsideTravel),
        (axis(), steps()).prop_map(|(axis, at)| Refusal::NotThere { axis, at }),
        axis().prop_map(Refusal::SwitchTripped),
    ];
    let about_the_board = prop_oneof![
        Just(Refusal::TooLong),
        activity().prop_map(Refusal::Busy),
        halt().prop_map(Refusal::Halted),
        Just(Refusal::DriversOff),
        axes().prop_map(Refusal::NotHomed),
        ticks().prop_map(|wait| Refusal::NotSettled { wait }),
    ];
    prop_oneof![about_the_request, about_an_axis, about_the_board]
}
