package gritbook.shell.carry

import gritbook.core.Body
import gritbook.core.HttpMethod
import gritbook.core.Request
import gritbook.core.TransportException
import gritbook.shell.Bench
import gritbook.shell.Depot
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraTakes
import gritbook.shell.checkKey
import gritbook.shell.frame.Place
import gritbook.shell.pump
import java.io.File
import java.security.KeyStore
import java.security.MessageDigest
import javax.net.ssl.KeyManagerFactory
import javax.net.ssl.SSLContext
import kotlin.concurrent.thread
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertNotEquals
import org.junit.Assert.assertThrows
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.Config
import org.xmlpull.v1.XmlPullParser

/** A real depot in TLS: the phone knows it by its key, and by nothing else. */
@RunWith(RobolectricTestRunner::class)
class TlsTest {
    @get:Rule
    val bench = Bench()

    @get:Rule
    val depot = Depot(tls = true)

    private fun enrolByPhoto(): String {
        val code = depot.enrol("phone 1")
        bench.activity.go(Place("enrol"))
        bench.settle()
        bench.touch(R.id.photograph)
        bench.cameraTakes(code.picture)
        assertEquals(depot.key, bench.app.prefs.now.depotKey)
        bench.activity.home()
        bench.settle()
        return bench.app.prefs.now.token!!
    }

    private fun checkBox(photo: File) {
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(photo)
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.save)
        bench.activity.home()
        bench.settle()
    }

    private fun sendNow() {
        bench.touch(R.id.outbox)
        bench.touch(R.id.send)
    }

    @Test
    fun codeWithAKeyPhotographedThenCheckArrivesByteForByte() {
        bench.start()
        bench.pump("Otter")
        depot.start()
        val token = enrolByPhoto()
        checkBox(Photos.demo("sand"))
        sendNow()
        assertTrue(bench.texts(), "Nothing waits" in bench.texts())
        assertEquals(listOf(Photos.sha256(Photos.demo("sand"))), depot.photos())
        val page = depot.entries(token)
        val log = bench.book { it.log(null, 100u) }
        assertEquals(2, log.size)
        log.forEach { assertTrue(page, it.docJson in page) }
    }

    private fun sendToAnotherKey(): Int {
        bench.start()
        bench.pump("Otter")
        depot.start()
        enrolByPhoto()
        val first = depot.key
        depot.loseKey()
        depot.start()
        assertNotEquals(first, depot.key)
        checkBox(Photos.demo("some_sand"))
        val waiting = bench.book { it.outbox() }.size
        sendNow()
        assertEquals("nothing left the phone", waiting, bench.book { it.outbox() }.size)
        assertEquals(emptyList<String>(), depot.photos())
        return waiting
    }

    @Test
    fun depotHasAnotherKeyThenNothingIsSentAndTheScreenSaysSo() {
        assertEquals(3, sendToAnotherKey())
        assertTrue(bench.texts(), "What answers at the depot's address does not hold the key that was enrolled" in bench.texts())
        assertTrue(bench.texts(), "ask the office whether the depot has a new key" in bench.texts())
    }

    @Test
    @Config(qualifiers = "es-rUS")
    fun depotHasAnotherKeyThenItIsSaidInSpanish() {
        sendToAnotherKey()
        assertTrue(bench.texts(), "La clave del depósito no es la que se inscribió" in bench.texts())
        assertTrue(bench.texts(), "Pregunte en la oficina" in bench.texts())
    }

    @Test
    fun enrolledAnewAfterTheKeyChangedThenWhatWaitedGoes() {
        sendToAnotherKey()
        bench.activity.home()
        bench.settle()
        val code = depot.enrol("phone 2")
        bench.activity.go(Place("enrol"))
        bench.settle()
        bench.type(R.id.code, code.code)
        bench.touch(R.id.done)
        bench.activity.home()
        bench.settle()
        sendNow()
        assertEquals(listOf(Photos.sha256(Photos.demo("some_sand"))), depot.photos())
    }

    private fun ask(carrier: HttpCarrier) = carrier.carry(Request(HttpMethod.GET, "/v1/entries", emptyList(), Body.Empty))

    @Test
    fun codeWithoutAKeyThenACertificateOfNobodyIsNotTrusted() {
        depot.start()
        assertThrows(TransportException.NotTrusted::class.java) { ask(HttpCarrier(depot.url, "a-token")) }
    }

    @Test
    fun keyEnrolledAndAddressNotEncryptedThenNothingIsAsked() {
        assertThrows(TransportException.NotTrusted::class.java) { ask(HttpCarrier("http://127.0.0.1:1", "a-token", "00".repeat(32))) }
    }

    @Test
    fun certificateExpiredAndOfAnotherNameThenTheRightKeyIsEnoughAndAnotherHearsNothing() {
        val (context, key) = expired()
        val server = context.serverSocketFactory.createServerSocket(0, 5, java.net.InetAddress.getByName("127.0.0.1"))
        val heard = java.util.concurrent.LinkedBlockingQueue<String>()
        thread(isDaemon = true) {
            while (true) {
                val socket = runCatching { server.accept() }.getOrNull() ?: return@thread
                val head = StringBuilder()
                val failure = runCatching {
                    val input = socket.getInputStream()
                    while (!head.endsWith("\r\n\r\n")) head.append(input.read().also { check(it >= 0) }.toChar())
                    socket.getOutputStream().write("HTTP/1.1 200 OK\r\nContent-Length: 2\r\nConnection: close\r\n\r\nok".toByteArray())
                }.exceptionOrNull()
                heard += head.toString().ifEmpty { "nothing: $failure" }
                runCatching { socket.close() }
            }
        }
        val url = "https://127.0.0.1:${server.localPort}"
        val answer = runCatching { ask(HttpCarrier(url, "a-token", key)) }.getOrElse { throw AssertionError(heard.poll(5, java.util.concurrent.TimeUnit.SECONDS), it) }
        assertEquals("ok", answer.body.decodeToString())
        assertTrue("Authorization: Bearer a-token" in heard.take())
        assertThrows(TransportException.WrongKey::class.java) { ask(HttpCarrier(url, "a-token", "00".repeat(32))) }
        assertTrue(heard.peek(), heard.take().startsWith("nothing: "))
        server.close()
    }

    /** A key with a certificate for elsewhere.example that ended in 2001, by the JDK's own keytool. */
    private fun expired(): Pair<SSLContext, String> {
        val store = File.createTempFile("store", ".p12").apply { delete() }
        val tool = ProcessBuilder(
            File(System.getProperty("java.home"), "bin/keytool").path, "-genkeypair", "-keystore", store.path, "-storetype", "PKCS12", "-storepass", "secret",
            "-alias", "a", "-keyalg", "EC", "-groupname", "secp256r1", "-startdate", "2001/01/01", "-validity", "10", "-dname", "CN=elsewhere.example",
        ).redirectErrorStream(true).start()
        val said = tool.inputStream.bufferedReader().readText()
        check(tool.waitFor() == 0) { said }
        val keys = KeyStore.getInstance("PKCS12").apply { store.inputStream().use { load(it, "secret".toCharArray()) } }
        store.delete()
        val managers = KeyManagerFactory.getInstance(KeyManagerFactory.getDefaultAlgorithm()).apply { init(keys, "secret".toCharArray()) }.keyManagers
        val sha256 = MessageDigest.getInstance("SHA-256").digest(keys.getCertificate("a").publicKey.encoded).joinToString("") { "%02x".format(it) }
        return SSLContext.getInstance("TLS").apply { init(managers, null, null) } to sha256
    }

    @Test
    fun networkRulesOfTheAppThenPlainHttpReachesThisDeviceOnly() {
        val rules = bench.app.resources.getXml(R.xml.network)
        val plain = mutableListOf<String>()
        var permitted = true
        var base: Boolean? = null
        while (rules.next() != XmlPullParser.END_DOCUMENT) {
            if (rules.eventType == XmlPullParser.TEXT && permitted) plain += rules.text.trim()
            if (rules.eventType != XmlPullParser.START_TAG) continue
            if (rules.name.endsWith("-config") && rules.name != "network-security-config") permitted = rules.getAttributeBooleanValue(null, "cleartextTrafficPermitted", true)
            if (rules.name == "base-config") base = permitted
        }
        assertEquals(false, base)
        assertEquals(listOf("127.0.0.1", "localhost"), plain.filter { it.isNotEmpty() })
        (plain.filter { it.isNotEmpty() }).forEach { assertTrue(it, HttpCarrier.allowed("http://$it:1")) }
        assertFalse(HttpCarrier.allowed("http://192.168.1.20:8470"))
    }
}
