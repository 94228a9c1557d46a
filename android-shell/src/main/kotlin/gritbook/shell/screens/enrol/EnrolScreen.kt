package gritbook.shell.screens.enrol

import android.content.Intent
import android.util.Base64
import gritbook.core.Enrolment
import gritbook.core.enrolmentOfPayload
import gritbook.core.enrolmentOfPhoto
import gritbook.shell.R
import gritbook.shell.carry.HttpCarrier
import gritbook.shell.carry.Sending
import gritbook.shell.carry.Shots
import gritbook.shell.frame.Desk
import gritbook.shell.frame.Field
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.key
import gritbook.shell.frame.keyRow
import gritbook.shell.frame.words
import java.security.SecureRandom

/** Lets this phone in to a depot: by a photo of the code that the depot shows, or by its text. */
class EnrolScreen(at: Place, frame: Frame) : Screen(at, frame) {
    override fun build() = Page(context, word(R.string.enrol_title), frame.prefs.now.leftHand, ::leave).apply {
        put(context.words(word(R.string.enrol_how)))
        frame.prefs.now.depotUrl?.let { put(context.words(word(R.string.enrol_now, it))) }
        put(Field(context, word(R.string.enrol_text), R.id.code, false, frame.trail.secret) { frame.trail.secret = it }.root)
        foot(context.key(word(R.string.enrol_photograph), main = true, id = R.id.photograph, act = ::photograph))
        foot(
            context.keyRow(
                context.key(word(R.string.check_pick), id = R.id.pick, act = ::pick),
                context.key(word(R.string.enrol_take_text), id = R.id.done, act = ::take),
            ),
        )
    }

    private fun leave() {
        frame.trail.secret = ""
        frame.leave()
    }

    override fun back(): Boolean {
        leave()
        return true
    }

    private fun photograph() {
        val name = Shots.newName()
        draft.put("pending", name)
        Shots.askCamera(frame.activity, name)?.let { page.say(word(it), word(R.string.enrol_no_camera_advice)) }
    }

    private fun pick() {
        draft.put("pending", Shots.newName())
        Shots.askPicker(frame.activity)?.let { page.say(word(it)) }
    }

    private fun take() {
        val (text, known) = frame.trail.secret to frame.prefs.now.deviceSecret
        away(work = { kept(known) { enrolmentOfPayload(text, it) } }, then = ::enrol)
    }

    override fun result(request: Int, code: Int, data: Intent?) {
        val name = draft.textOrNull("pending") ?: return
        draft.put("pending", null)
        if (code != android.app.Activity.RESULT_OK) return
        val (from, known) = data?.data to frame.prefs.now.deviceSecret
        away(Desk.Lane.EYE, work = {
            val file = Shots.file(context, name)
            try {
                Shots.arrived(context, request, from, name)
                kept(known) { enrolmentOfPhoto(file.path, it) }
            } finally {
                // The picture shows the code.
                file.delete()
            }
        }, then = ::enrol)
    }

    /** What the code gives to a phone with this secret, and the secret: made here where the phone has none. Away from the main thread. */
    private fun kept(known: String?, read: (ByteArray) -> Enrolment): Pair<Enrolment, String> {
        val secret = known?.let { Base64.decode(it, Base64.NO_WRAP) } ?: ByteArray(32).also(SecureRandom()::nextBytes)
        return read(secret) to Base64.encodeToString(secret, Base64.NO_WRAP)
    }

    private fun enrol(kept: Pair<Enrolment, String>) {
        val (found, secret) = kept
        val depot = found.depot ?: return page.say(word(R.string.enrol_no_address), word(R.string.enrol_no_address_advice))
        if (!HttpCarrier.allowed(depot)) return page.say(word(R.string.enrol_not_encrypted), word(R.string.enrol_not_encrypted_advice))
        frame.prefs.enrolled(depot, found, secret)
        frame.trail.secret = ""
        frame.trail.forget(at)
        Sending.soon(context)
        page.say(word(R.string.enrol_done, found.name, depot), id = R.id.enrolled)
    }
}
