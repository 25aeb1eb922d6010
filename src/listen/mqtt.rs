//! A topic of an MQTT broker, received only (MQTT 3.1.1, QoS 0).

use std::sync::mpsc::SyncSender;
use std::time::Duration;

use rumqttc::{Client, Event as Told, MqttOptions, Packet, QoS};

use super::{Backoff, Event, Said, Waiting, gone};

/// A larger message is none of a tracker.
const LARGEST: usize = 1 << 20;
/// Requests that wait to be sent.
const ROOM: usize = 16;

/// A broker's topic.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Topic {
    /// Host.
    pub host: String,
    /// Port.
    pub port: u16,
    /// Topic, with + and # for any.
    pub name: String,
    /// User and password, where the broker asks for them.
    pub user: Option<(String, String)>,
}

/// Listens until nobody takes events any more. Every message is a document of its own.
pub fn listen(topic: &Topic, waiting: Waiting, to: &SyncSender<Event>) {
    let mut backoff = Backoff::new(waiting);
    loop {
        match receive(topic, to, &mut backoff) {
            None => return,
            Some(why) => {
                let why = format!("{}:{}: {why}", topic.host, topic.port);
                if gone(to, Event::Cut) || !backoff.wait(why, to) {
                    return;
                }
            }
        }
    }
}

fn receive(topic: &Topic, to: &SyncSender<Event>, backoff: &mut Backoff) -> Option<String> {
    // Of two clients with one name a broker drops the older.
    let id = format!("windfall-{}", std::process::id());
    let mut options = MqttOptions::new(id, &topic.host, topic.port);
    options.set_keep_alive(Duration::from_secs(30));
    options.set_max_packet_size(LARGEST, LARGEST);
    if let Some((user, password)) = &topic.user {
        options.set_credentials(user, password);
    }
    let (client, mut connection) = Client::new(options, ROOM);
    for told in connection.iter() {
        match told {
            Ok(Told::Incoming(Packet::ConnAck(_))) => {
                if let Err(cause) = client.subscribe(&topic.name, QoS::AtMostOnce) {
                    return Some(cause.to_string());
                }
                let name = format!("{}:{}, {}", topic.host, topic.port, topic.name);
                if gone(to, Event::Said(Said::Connected(name))) {
                    return None;
                }
            }
            Ok(Told::Incoming(Packet::Publish(message))) => {
                // Not when connected: a broker may take everybody in and cut everybody off.
                backoff.worked();
                if gone(to, Event::Whole(message.payload.to_vec())) {
                    return None;
                }
            }
            // Between messages, too, it has to be noticed that nobody listens any more.
            Ok(_) => {
                if gone(to, Event::Bytes(Vec::new())) {
                    return None;
                }
            }
            Err(cause) => return Some(cause.to_string()),
        }
    }
    Some("the connection has ended".into())
}
